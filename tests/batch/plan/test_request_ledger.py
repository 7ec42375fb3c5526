"""The requests of a folder taken together: each clip and each original once, and the sums are right."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.plan.reconcile_media import Walk, taken_together
from rushlight.batch.plan.request_ledger import (
    Asked,
    Asking,
    Settled,
    day_of,
    drop_rows,
    keep_asking,
    read_askings,
    request_id,
    told_apart,
)
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.records.look import Grade, SomeLook
from rushlight.batch.records.original import Source


def walk(*names: str, folder: str = "/m", broken: tuple[str, ...] = (), ignored: int = 0) -> Walk:
    originals = tuple((f"{folder}/{n}", f"{folder}/{n}", "") for n in names)
    originals += tuple((f"{folder}/{n}", f"{folder}/{n}", "is damaged") for n in broken)
    return Walk(folders=(folder,), originals=originals, ignored={folder: ignored} if ignored else {})


def asked(clip: str, asks: str = "x", job: str = "") -> Asked:
    return Asked(job=job or (clip if asks else f"row-{clip}"), clip=clip, line=2, asks=asks)


GRADE = Grade(slope=[1, 1, 1], offset=[0, 0, 0], power=[1, 1, 1], saturation=1)


def record(status: str, path: str = "", grade: Grade | None = None, clip: str = "c") -> JobRecord:
    about = {"source": Source(path=path), "look": SomeLook(grade=grade)}
    return JobRecord(schema="rushlight-job-1", job="j", clip=clip, status=status, **about)


DAY1 = Asking(
    list="/l/day1.csv",
    recipe="r",
    when=1,
    rows=(asked("a"), asked("b", "")),
    named=frozenset({"/m/a", "/m/b"}),
)
DAY2 = Asking(list="/l/day2.csv", recipe="r", when=2, rows=(asked("c"),), named=frozenset({"/m/c"}))


def test_two_lists_add_up_and_none_forgets_the_other() -> None:
    records = {"a": record("done", "/m/a", GRADE), "row-b": record("set aside")}
    day = day_of(
        [replace(DAY1, walk=walk("a", "b", "c", "d")), replace(DAY2, walk=walk("a", "b", "c", "d"))], records
    )
    assert day.counts() == {
        "lists": 2, "listed": 3, "delivered": 1, "set_aside": 1, "failed": 0, "not_yet": 1, "ungraded": 0,
    }  # fmt: skip
    assert day.media is not None and day.media["not_listed"] == ["/m/d"] and day.media["listed"] == 3


def test_the_same_request_takes_its_earlier_selfs_place(tmp_path: Path) -> None:
    keep_asking(tmp_path, DAY1)
    keep_asking(tmp_path, DAY2)
    mended = replace(DAY1, rows=(asked("a"), asked("b")), when=3.0)
    keep_asking(tmp_path, mended)
    found, faults = read_askings(tmp_path)
    assert found == [DAY2, mended] and faults == []
    assert request_id("/l", "r", ()) != request_id("/l", "r", ("circled=yes",)) != request_id("/l", "s", ())
    (tmp_path / "log" / "requests" / f"{DAY2.id}.json").write_text('{"schema": "rushlight-asked-1"')
    found, faults = read_askings(tmp_path)
    assert found == [mended] and DAY2.id in faults[0]


def test_a_walk_with_names_that_are_no_utf_8_is_read_back(tmp_path: Path) -> None:
    whole = replace(DAY1, walk=replace(walk("\udcff", broken=("x",), ignored=3), absent=(("c", "/m/1.mhl"),)))
    keep_asking(tmp_path, whole)
    assert read_askings(tmp_path) == ([whole], [])


def test_one_clip_in_two_lists_is_one_and_what_differs_is_said() -> None:
    for asks, differs in (("x", ()), ("y", ("range, grade or original",))):  # as older versions kept it
        other = replace(DAY2, rows=(asked("a", asks),))
        (entry, bad) = day_of([DAY1, other], {}).entries
        assert (entry.job, entry.lists, entry.differs) == ("a", ("day1.csv", "day2.csv"), differs)
        assert bad.job == "row-b"


@pytest.mark.parametrize(
    ("other", "says"),
    [
        ({"asks": "x"}, ""),
        ({"range": "5+9"}, "with another range in each; what day2.csv says is used, since it was read last"),
        ({"grade": "h", "look": "m"}, "with another grade in each; what day2.csv"),
        ({"range": "5+9", "grade": "h", "look": "m"}, "with another range and grade in each"),
        ({"look": "m"}, "with another look in each"),
        (
            {},
            "with its original in another folder for each; that of day2.csv is used, since it was read last",
        ),
    ],
)
def test_what_really_differs_is_said(other: dict[str, str], says: str) -> None:
    row = replace(asked("a"), range="0+9", grade="g", look="l")
    first = Asking(list="/l/day1.csv", recipe="r", when=1, rows=(row,))
    second = replace(first, list="/l/day2.csv", when=2, rows=(replace(row, **{"asks": "y", **other}),))
    for askings in ([first, second], [second, first]):  # whichever is given first: the later one holds
        [entry] = day_of(askings, {}).entries
        assert says in entry.disagreement.replace("csv, with", "csv with"), entry.disagreement
        assert bool(says) == bool(entry.disagreement) == bool(entry.differs)


def test_of_a_list_that_is_read_again_the_last_reading_counts() -> None:
    """By a choice of its rows here, which is another request."""
    first = Asking(list="/l/day1.csv", recipe="r", when=1, rows=(asked("a"),))
    second = replace(first, list="/l/day2.csv", when=2, rows=(asked("a", "y"),))
    again = replace(first, only=("scene=1",), when=3)
    [entry] = day_of([first, second, again], {}).entries
    assert "what day1.csv says is used" in entry.disagreement


def test_a_bad_row_is_settled_by_a_later_list_that_has_the_clip_right() -> None:
    mended = replace(DAY2, list="/l/day1 mended.csv", rows=(asked("b"),))
    records = {"row-b": record("set aside"), "b": record("done")}
    day = day_of([DAY1, mended], records)
    text = "line 2 of day1.csv was not used; what day1 mended.csv says is used, since it was read later"
    assert day.settled == {"row-b": Settled(clip="b", text=text, later=True)}
    assert day.counts()["set_aside"] == 0
    same = replace(DAY1, recipe="other", when=2, rows=(asked("b"),))
    assert (
        day_of([DAY1, same], records).counts()["set_aside"] == 1
    )  # nor does another recipe: that was never made


@pytest.mark.parametrize("name", ["b", "b.mov"])
def test_a_clip_that_one_list_has_right_and_another_wrong_counts_once_in_both_orders(name: str) -> None:
    right = replace(DAY2, rows=(asked(name, job="b"),))
    records = {"a": record("done"), "row-b": record("set aside"), "b": record("done")}
    first, second = (day_of([replace(DAY1, when=when), right], records) for when in (1, 3))
    assert first.counts() == second.counts()
    assert (first.counts()["listed"], first.counts()["delivered"], first.counts()["set_aside"]) == (2, 2, 0)
    text = "line 2 of day1.csv was not used; what day2.csv says is used"
    assert first.settled["row-b"].later
    assert second.settled == {
        "row-b": Settled(clip="b", text=text, later=False)
    }  # its row waits for a person


def test_a_row_that_went_wrong_after_its_clip_was_delivered_counts_once() -> None:
    records = {"b": record("done", clip="b"), "row-b": record("set aside")}
    day = day_of([DAY1], records)
    assert (day.counts()["listed"], day.counts()["delivered"], day.counts()["set_aside"]) == (2, 1, 0)
    assert day.settled["row-b"].text == "line 2 of day1.csv was not used; what was delivered before stays"
    parts = replace(DAY1, rows=(asked("b", job="b"), asked("b", "")))  # a second part of it, never delivered
    assert day_of([parts], records).counts()["set_aside"] == 1


def test_what_is_dropped_is_not_missing_and_a_list_dropped_whole_does_not_count(tmp_path: Path) -> None:
    keep_asking(tmp_path, replace(DAY1, walk=walk("a", "b")))
    keep_asking(tmp_path, replace(DAY2, walk=walk("c", "z", folder="/n")))
    drop_rows(tmp_path, ["c"])
    day = day_of(read_askings(tmp_path)[0], {})
    assert day.counts()["lists"] == 1 and day.dropped == {"c": "c"} and day.media and day.media["found"] == 2
    made = day_of(read_askings(tmp_path)[0], {"c": record("done", "/n/c")})
    assert made.counts()["lists"] == 2 and made.counts()["delivered"] == 1 and not made.dropped
    drop_rows(tmp_path, ["row-b"])
    day = day_of(read_askings(tmp_path)[0], {"row-b": record("withdrawn")})
    assert day.counts()["listed"] == 1 and set(day.dropped) == {"c", "row-b"}


def test_what_was_made_and_is_in_no_list_any_more_counts_and_its_original_is_not_unnamed() -> None:
    day = day_of([replace(DAY2, walk=walk("c", "old"))], {"old": record("done", "/m/old")})
    assert day.counts()["delivered"] == 1 and day.counts()["listed"] == 2
    assert day.media is not None and day.media["not_listed"] == []


def test_the_later_walk_of_a_folder_holds() -> None:
    first = walk("card1/a", "card1/gone", "card2/b", ignored=5)
    later = Walk(
        folders=("/m/card1",),
        originals=(("/m/card1/a", "/m/card1/a", "is damaged"),),
        ignored={"/m/card1": 1},
    )
    found = taken_together([first, later], {"/m/card1/a", "/m/card2/b"})
    assert found is not None and found["found"] == 2 + 6 and found["listed"] == 1
    assert [e["path"] for e in found["unreadable"]] == ["/m/card1/a"]
    beside = taken_together([walk("a", folder="/m/card1"), walk("b", folder="/m/card10")], ())
    assert beside is not None and beside["found"] == 2  # a name that only begins alike is another folder
    assert taken_together([], ()) is None


NAMES = st.sampled_from(["a", "b", "c", "d", "e"])
ROWS = st.lists(
    st.builds(asked, NAMES, st.sampled_from(["", "x", "y"])), max_size=5, unique_by=lambda row: row.job
)
WALKS = st.none() | st.builds(
    lambda names, broken, folder, ignored: walk(*sorted(names - broken), folder=folder, broken=tuple(sorted(broken)), ignored=ignored),
    st.frozensets(NAMES), st.frozensets(NAMES, max_size=2), st.sampled_from(["/m", "/m/c", "/n"]), st.integers(0, 3),
)  # fmt: skip
ASKINGS = st.lists(
    st.builds(
        lambda name, rows, found, dropped: Asking(
            list=f"/l/{name}", recipe="r", walk=found, named=frozenset(f"/m/{row.clip}" for row in rows),
            rows=tuple(replace(row, dropped=row.clip in dropped) for row in rows),
        ),
        NAMES, ROWS, WALKS, st.frozensets(NAMES, max_size=2),
    ),
    max_size=4, unique_by=lambda asking: asking.list,
)  # fmt: skip
STATUSES = st.sampled_from(["done", "failed", "set aside", "withdrawn"])
RECORDS = st.dictionaries(st.sampled_from([*"abcdefg", *(f"row-{n}" for n in "abc")]), STATUSES, max_size=8)


@given(ASKINGS, RECORDS)
def test_whatever_was_asked_for_the_sums_add_up(askings: list[Asking], statuses: dict[str, str]) -> None:
    records = {job: record(status, f"/m/{job}") for job, status in statuses.items()}
    day = day_of(askings, records)
    sums, media = day.counts(), day.media
    assert sums["listed"] == sums["delivered"] + sums["set_aside"] + sums["failed"] + sums["not_yet"]
    jobs = [entry.job for entry in day.entries]
    assert len(jobs) == len(set(jobs)) and not set(jobs) & day.dropped.keys()
    made = {job for job, status in statuses.items() if status == "done"}
    assert {entry.job for entry in day.entries if entry.state == "done"} == made - day.settled.keys()
    wanted = {row.job for asking in askings for row in asking.rows if not row.dropped}
    assert wanted - day.settled.keys() <= set(jobs)  # no row is forgotten
    if media is None:
        return
    assert (
        media["found"]
        == media["listed"] + len(media["not_listed"]) + len(media["unreadable"]) + media["ignored"]
    )
    assert not {f"/m/{job}" for job in made} & set(
        media["not_listed"]
    )  # nothing is both made and named by no row


@pytest.mark.parametrize("spoilt", ["", "[]", "{}", '{"schema": "rushlight-asked-1", "rows": 3}', "\x00"])
def test_a_request_that_does_not_read_is_said(tmp_path: Path, spoilt: str) -> None:
    keep_asking(tmp_path, DAY1)
    (tmp_path / "log" / "requests" / "x.json").write_text(spoilt)
    found, faults = read_askings(tmp_path)
    assert found == [DAY1] and len(faults) == 1 and "x.json" in faults[0]


def test_lists_of_one_name_are_told_apart() -> None:
    lists = ["/a/day.csv", "/b/day.csv"]
    rows = [(Asked(job="a", clip="a", line=2, asks=name),) for name in lists]
    askings = [Asking(list=name, recipe="r", rows=row) for name, row in zip(lists, rows, strict=True)]
    [entry] = day_of(askings, {}).entries
    assert entry.lists == ("a/day.csv", "b/day.csv") and entry.differs
    assert told_apart(["/x/a/1/day.csv", "/x/b/1/day.csv"]) == ("a/1/day.csv", "b/1/day.csv")
    assert told_apart(["/day.csv", "/a/day.csv"]) == ("/day.csv", "a/day.csv")
    assert told_apart(["/a/one.csv", "/b/two.csv"]) == ("one.csv", "two.csv")
