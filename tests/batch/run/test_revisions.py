"""What is remade when something changes, and what becomes of what it replaces."""

import json
import os
import shutil
from pathlib import Path

import pytest

from here import HereFarm, farm_here, files, run, small_day, write_list  # noqa: F401
from logged import latest, read_records
from recorded import movie
from rushlight.batch.records.files import DeliveredMovie
from rushlight.batch.run import revisions

ROWS = {
    "A001C001": {"scene": "4", "note": "good", "slope": "1 1 1", "offset": "0 0 0", "power": "1 1 1"},
    "A001C002": {"scene": "5", "note": "", "slope": "", "offset": "", "power": ""},
}
BOTH = ("editorial", "viewing")


def record(out: Path, clip: str = "A001C001.mov") -> dict:
    return {r["clip"]: r for r in latest(read_records(out)).values()}[clip]


def made(farm: HereFarm) -> dict[str, set[str]]:
    """Outputs that were made since the last call, by clip."""
    found: dict[str, set[str]] = {}
    for task in farm.calls:
        if task.function.endswith("finish_job"):
            payload = task.arguments[0]
            found.setdefault(payload["stem"], set()).update(o["output"] for o in payload["outputs"])
    farm.calls.clear()
    return found


def change(rows: dict[str, dict[str, str]], clip: str, **cells: str) -> dict[str, dict[str, str]]:
    return {**rows, clip: {**rows[clip], **cells}}


@pytest.mark.parametrize("replaced", ["keep", pytest.param("remove", marks=pytest.mark.slow)])
def test_only_what_a_change_touches_is_remade(tmp_path: Path, farm_here: HereFarm, replaced: str) -> None:  # noqa: F811
    day, out = small_day(tmp_path / "day"), tmp_path / "out"
    recipe = tmp_path / "day" / "two.toml"
    command = ("render", day, "--recipe", recipe, "--out", out, "--replaced", replaced)

    def render(rows: dict[str, dict[str, str]]) -> dict[str, set[str]]:
        write_list(day, rows)
        code, said = run(*command)
        assert code == 0, said
        return made(farm_here)

    assert render(ROWS) == {"A001C001": set(BOTH), "A001C002": set(BOTH)}
    assert render(ROWS) == {}
    first = files(out, *BOTH)

    rows = change(ROWS, "A001C001", slope="1.2 1 1")  # a revised grade remakes that clip
    assert render(rows) == {"A001C001": set(BOTH)}
    second = files(out, *BOTH)
    assert {p for p in first if first[p] != second[p]} == {
        "editorial/A001C001.mov",
        "viewing/A001C001.mp4",
    } and set(second) == set(first)
    kept = files(out, "revisions")
    if replaced == "keep":
        assert kept == {
            f"revisions/1/{p}": first[p] for p in ("editorial/A001C001.mov", "viewing/A001C001.mp4")
        }
    else:
        assert kept == {} and not (out / "revisions").exists()
    now = record(out)
    assert now["revision"] == 2 and record(out, "A001C002.mov")["revision"] == 1
    assert {r["path"] for r in now["replaced"]} == {"editorial/A001C001.mov", "viewing/A001C001.mp4"}
    assert all(r["why"].startswith("another look") and r["revision"] == 1 for r in now["replaced"])
    assert all(bool(r["kept"]) == (replaced == "keep") for r in now["replaced"])

    page = (out / "report" / "index.html").read_text()
    assert "editorial/A001C001.mov of revision 1: another look" in page
    assert ("kept as revisions/1/editorial/A001C001.mov" in page) == (replaced == "keep")

    rows = change(rows, "A001C001", note="best")  # a note or scene: the output that burns it in
    assert render(rows) == {"A001C001": {"viewing"}}
    rows = change(rows, "A001C002", scene="6")
    assert render(rows) == {"A001C002": {"viewing"}}
    third = files(out, *BOTH)
    assert {p for p in second if second[p] != third[p]} == {"viewing/A001C001.mp4", "viewing/A001C002.mp4"}
    assert record(out)["revision"] == 3 and record(out)["replaced"][0]["why"].endswith("burned in")
    if replaced == "keep":
        assert files(out, "revisions/2") == {
            "revisions/2/viewing/A001C001.mp4": second["viewing/A001C001.mp4"]
        }

    rows = change(rows, "A001C001", remark="nothing burns this in")
    assert render(rows) == {}

    stills = '\n[[output]]\nname = "stills"\nmake = "stills"\nkinds = ["jpeg"]\nsize = "128x72"\n'
    recipe.write_text(recipe.read_text() + stills)  # an added output makes itself
    assert render(rows) == {"A001C001": {"stills"}, "A001C002": {"stills"}}
    assert files(out, *BOTH) == third and record(out)["revision"] == 3
    assert {e["output"] for e in record(out)["outputs"]} == {*BOTH, "stills"}

    recipe.write_text(recipe.read_text().replace('container = "mov"', 'container = "mxf"'))  # other names
    assert render(rows) == {"A001C001": {"editorial"}, "A001C002": {"editorial"}}
    assert {p for p in files(out, "editorial")} == {"editorial/A001C001.mxf", "editorial/A001C002.mxf"}
    if replaced == "keep":
        assert files(out, "revisions/2/editorial") == {
            "revisions/2/editorial/A001C001.mov": third["editorial/A001C001.mov"]
        }
    assert render(rows) == {}


def test_another_mount_path_or_version_remakes_nothing(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    day, out = small_day(tmp_path / "day"), tmp_path / "out"
    stills = '\n[[output]]\nname = "stills"\nmake = "stills"\nkinds = ["jpeg"]\nsize = "128x72"\n'
    with (tmp_path / "day" / "two.toml").open("a") as stream:
        stream.write(stills)
    rows = {str(tmp_path / "day" / clip): cells for clip, cells in ROWS.items()}  # absolute paths in the list
    write_list(day, rows)
    assert run("render", day, "--recipe", tmp_path / "day" / "two.toml", "--out", out)[0] == 0
    assert len(made(farm_here)) == 2
    before = files(out, *BOTH, "stills")

    shutil.move(tmp_path / "day", tmp_path / "elsewhere")
    shutil.move(out, tmp_path / "mounted" / "there")
    day, out = tmp_path / "elsewhere" / "day.csv", tmp_path / "mounted" / "there"
    for original in (tmp_path / "elsewhere").glob("*.mov"):
        os.utime(original, ns=(10**18, 10**18))  # copies may bear another time
    for path in files(out, *BOTH, "stills"):  # a copy on a disk that keeps whole seconds
        whole = (out / path).stat().st_mtime_ns // 10**9 * 10**9
        os.utime(out / path, ns=(whole, whole))
    write_list(day, ROWS)  # bare names now
    monkeypatch.setattr("importlib.metadata.version", lambda name: "99.0")
    code, said = run("render", day, "--recipe", tmp_path / "elsewhere" / "two.toml", "--out", out)
    assert code == 0 and "2 clips made earlier and unchanged" in said, said
    assert made(farm_here) == {} and files(out, *BOTH, "stills") == before


def test_a_failed_revision_leaves_the_old_one_known(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    day, out = small_day(tmp_path / "day"), tmp_path / "out"
    command = ("render", day, "--recipe", tmp_path / "day" / "two.toml", "--out", out)
    write_list(day, ROWS)
    assert run(*command)[0] == 0
    before = files(out, *BOTH)

    def fails(task: object) -> None:
        if task.function.endswith("finish_job"):  # type: ignore[attr-defined]
            raise ZeroDivisionError("made to fail")

    farm_here.before = fails
    write_list(day, change(ROWS, "A001C001", slope="1.2 1 1"))
    assert run(*command)[0] == 1
    now = record(out)
    assert now["status"] == "failed" and "made to fail" in now["error"]
    assert {e["path"] for e in now["outputs"]} == {"editorial/A001C001.mov", "viewing/A001C001.mp4"}
    assert files(out, *BOTH) == before and not (out / "revisions").exists()

    farm_here.before = lambda task: None
    assert run(*command)[0] == 0
    assert record(out)["status"] == "done" and record(out)["revision"] == 2
    assert files(out, "revisions/1") == {
        f"revisions/1/{p}": before[p] for p in ("editorial/A001C001.mov", "viewing/A001C001.mp4")
    }


def test_another_look_by_another_recipe_says_what_it_no_longer_counts(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    day, out = small_day(tmp_path / "day", {"A001C001": 2}), tmp_path / "out"
    rows, two, one = {"A001C001": ROWS["A001C001"]}, tmp_path / "day" / "two.toml", tmp_path / "one.toml"
    one.write_text('[[output]]\nname = "stills"\nmake = "stills"\nkinds = ["jpeg"]\nsize = "128x72"\n')
    write_list(day, rows)
    assert run("render", day, "--recipe", two, "--out", out)[0] == 0
    before = files(out, *BOTH)
    assert run("render", day, "--recipe", one, "--out", out)[0] == 0
    assert {e["output"] for e in record(out)["outputs"]} == {*BOTH, "stills"}  # the same look: side by side
    assert not any("no longer counted" in text for text in record(out)["warnings"])

    write_list(day, change(rows, "A001C001", slope="1.2 1 1"))
    assert run("render", day, "--recipe", one, "--out", out)[0] == 0
    now = record(out)
    assert {e["output"] for e in now["outputs"]} == {"stills"} and files(out, *BOTH) == before
    said = next(text for text in now["warnings"] if "no longer counted" in text)
    assert "editorial/A001C001.mov, viewing/A001C001.mp4" in said and "another look" in said
    assert "no longer counted" in (out / "report" / "index.html").read_text()


def test_what_is_replaced_is_removed_where_that_is_asked(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    day, out = small_day(tmp_path / "day", {"A001C001": 2}), tmp_path / "out"
    command = ("render", day, "--recipe", tmp_path / "day" / "two.toml", "--out", out, "--replaced", "remove")
    rows = {"A001C001": ROWS["A001C001"]}
    write_list(day, rows)
    assert run(*command)[0] == 0
    (out / "viewing" / "A001C001.mp4").write_bytes(b"damaged meanwhile")
    write_list(day, change(rows, "A001C001", slope="1.2 1 1"))
    code, said = run(*command)
    assert code == 0 and "revision 2: another look" in said and "the old removed" in said
    assert not (out / "revisions").exists() and len(files(out, *BOTH)) == 2
    assert [r["kept"] for r in record(out)["replaced"]] == ["", ""]
    (out / "viewing" / "A001C001.mp4").write_bytes(b"damaged meanwhile")
    write_list(day, rows)
    assert run(*command[:-2])[0] == 0  # kept, what was damaged too: nobody knows what it is
    assert {r["output"]: r["kept"] for r in record(out)["replaced"]} == {
        "editorial": "revisions/2/editorial/A001C001.mov",
        "viewing": "revisions/2/viewing/A001C001.mp4",
    }
    assert (out / "revisions/2/viewing/A001C001.mp4").read_bytes() == b"damaged meanwhile"


def entry(out: Path, path: str, text: str, revision: int = 1) -> DeliveredMovie:
    (out / path).parent.mkdir(parents=True, exist_ok=True)
    (out / path).write_text(text)
    info = (out / path).stat()
    given = movie(output=path.partition("/")[0], path=path, identity=text, revision=revision)
    return DeliveredMovie.read(given | {"bytes": info.st_size, "mtime_ns": info.st_mtime_ns})


@pytest.mark.parametrize("links", [True, False])
def test_keeping_twice_is_as_once(tmp_path: Path, links: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    if not links:

        def refused(*paths: object, **folders: object) -> None:
            raise OSError(1, "no links here")

        monkeypatch.setattr(os, "link", refused)
    old = entry(tmp_path, "a/x.mov", "old")
    for _ in range(2):
        revisions.keep(tmp_path, [old])
        assert files(tmp_path, "revisions") == {"revisions/1/a/x.mov": b"old"}
        assert (tmp_path / "a/x.mov").exists() == links
    revisions.unkeep(tmp_path, [old])
    assert files(tmp_path, "a") == {"a/x.mov": b"old"} and not (tmp_path / "revisions").exists()
    revisions.keep(tmp_path, [old])
    (tmp_path / "a/x.new").write_text("new")
    os.replace(tmp_path / "a/x.new", tmp_path / "a/x.mov")
    revisions.keep(tmp_path, [old])  # a night killed before its record: the finish runs again
    assert files(tmp_path, "revisions") == {"revisions/1/a/x.mov": b"old"}
    taken, other = (DeliveredMovie.read(movie(path=path)) for path in ("a/x.mov", "a/x.mxf"))
    revisions.clear(tmp_path, [old], [taken])
    assert files(tmp_path, "a") == {"a/x.mov": b"new"}
    revisions.clear(tmp_path, [old], [other])
    assert files(tmp_path, "a") == {"a/x.mov": b"new"}  # it is not the file that the record has
    revisions.clear(tmp_path, [entry(tmp_path, "a/x.mov", "old")], [other])
    assert files(tmp_path, "a") == {}


def test_other_recipes_outputs_stay_in_the_record(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    day, out = small_day(tmp_path / "day"), tmp_path / "out"
    two = tmp_path / "day" / "two.toml"
    parts = two.read_text().split("[[output]]")
    for name, part in zip(("one", "other"), parts[1:], strict=True):
        (tmp_path / "day" / f"{name}.toml").write_text("[[output]]" + part)
    for name in ("one", "other", "one"):
        assert run("render", day, "--recipe", tmp_path / "day" / f"{name}.toml", "--out", out)[0] == 0
    assert len(made(farm_here)) == 2 and {e["output"] for e in record(out)["outputs"]} == set(BOTH)
    assert run("render", day, "--recipe", two, "--out", out)[0] == 0
    assert made(farm_here) == {}
    report = json.loads((out / "report" / "batch.json").read_text())
    assert all({e["output"] for e in clip["outputs"]} == set(BOTH) for clip in report["clips"])


def test_what_is_kept_there_already_stays_and_the_next_is_numbered_on(tmp_path: Path) -> None:
    """As where a log was lost, or another clip's file of that name was put by before."""
    (tmp_path / "revisions/1/a").mkdir(parents=True)
    (tmp_path / "revisions/1/a/x.mov").write_text("another's")
    old = entry(tmp_path, "a/x.mov", "old")
    for _ in range(2):
        revisions.keep(tmp_path, [old])
        assert files(tmp_path, "revisions") == {
            "revisions/1/a/x.mov": b"another's",
            "revisions/2/a/x.mov": b"old",
        }
    revisions.unkeep(tmp_path, [old])
    assert files(tmp_path, "revisions", "a") == {"revisions/1/a/x.mov": b"another's", "a/x.mov": b"old"}
