"""All requests of an output folder taken together: what their rows ask for, and what lies on their media, each original once.

A request is told by the path of its list, its recipe and its `--only`: the same again, mended or not, takes the place of its
earlier self. Each has a file of its own under `log/requests`, so that two that are added at one time do not lose each other.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path, PurePosixPath

from rushlight.batch.json_lines import plain_json
from rushlight.batch.plan.reconcile_media import MediaSums, Walk, original_key, taken_together
from rushlight.batch.records.day_title import NO_TITLE, DayTitle
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.records.request import ASKED, AskedRequest, AskedRow
from rushlight.batch.records.summary import Missing
from rushlight.pipelines.errors import RushlightError, from_os
from rushlight.pipelines.inside_folder import read_bytes, write
from rushlight.pipelines.job.spec import digest_of
from rushlight.pipelines.originals.spanned_clips import MOVIES

__all__ = [
    "Asked",
    "Asking",
    "Day",
    "Entry",
    "Settled",
    "day_of",
    "differing",
    "drop_rows",
    "keep_asking",
    "made_from",
    "read_askings",
    "request_id",
    "told_apart",
]


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A row that asks for a clip: the job it is (`row-…` where it could not be planned), its line, and what it asks for."""

    job: str
    clip: str  # as typed
    line: int
    asks: str = ""  # a digest of original, range and look; empty where it could not be planned
    original: str = ""  # what its original is told by, wherever it lies
    dropped: bool = False  # a person took it out of the queue
    folder: str = ""  # inside each output's folder
    files: tuple[str, ...] = ()  # those that templates name, from the output folder
    range: str = ""  # first frame and number of frames,
    grade: str = ""  # digests of grade
    look: str = ""  # and look, and
    outputs: tuple[str, ...] = ()  # names of the outputs: of older versions empty
    when: float = 0.0  # it asked last, as time.time, where it asks no more

    @property
    def picture(self) -> str:
        """What tells the picture that it asks for, wherever its original lies; empty where it could not be planned, and of older versions."""
        return f"{self.range} {self.look}" if self.look else ""


@dataclass(frozen=True, kw_only=True)
class Asking:
    """A request as it stood when it was read last."""

    list: str  # absolute path
    recipe: str
    only: tuple[str, ...] = ()
    excerpts: tuple[str, ...] = ()  # ranges and stills of single clips, where it asks for nothing else
    when: float = 0.0  # as time.time
    rows: tuple[Asked, ...] = ()
    gone: tuple[Asked, ...] = ()  # of delivered clips that it asks for no more
    named: frozenset[str] = frozenset()  # keys of the originals that its rows name, chosen or not
    walk: Walk | None = None  # of its media folders
    title: DayTitle = NO_TITLE
    day: str = ""  # absolute path of the day document
    missing: tuple[Missing, ...] = ()  # what nobody states of its clips

    @property
    def id(self) -> str:
        return request_id(self.list, self.recipe, self.only, self.excerpts)

    @property
    def name(self) -> str:
        return Path(self.list).name


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One clip or bad row of the day. `state` is done, set aside, failed or not yet."""

    job: str
    clip: str
    state: str
    lists: tuple[str, ...] = ()  # in the order in which they were read last: what the last one says is used
    differs: tuple[str, ...] = ()  # what of it they ask for otherwise

    @property
    def disagreement(self) -> str:
        """What the lists do not agree on, after the clip's name; empty where they do."""
        if not self.differs:
            return ""
        last, where = self.lists[-1], f"stands in {' and '.join(self.lists)}"
        if self.differs == ("original",):
            return f"{where}, with its original in another folder for each; that of {last} is used, since it was read last"
        what = " and ".join(self.differs)
        return f"{where} with another {what} in each; what {last} says is used, since it was read last"


@dataclass(frozen=True, kw_only=True)
class Settled:
    """A bad row whose clip counts already, as another list has it right or as it was delivered before."""

    clip: str
    text: str
    later: bool  # the list that has it right was read after: the row waits for nobody


@dataclass(frozen=True, kw_only=True)
class Day:
    """Totals of all requests of a folder: `listed` = delivered + set aside + failed + not yet."""

    entries: tuple[Entry, ...]
    media: MediaSums | None  # found = listed + not listed + unreadable + ignored, as `plan --json` has it
    dropped: Mapping[str, str] = field(
        default_factory=dict
    )  # job -> clip: taken out of the queue by hand, and not made
    lists: tuple[str, ...] = ()
    settled: Mapping[str, Settled] = field(default_factory=dict)  # bad row -> its clip, counted elsewhere
    ungraded: int = 0
    title: DayTitle = NO_TITLE  # of the request that was read last and has one
    missing: tuple[Missing, ...] = ()  # what nobody states of its clips, by camera

    def counts(self) -> dict[str, int]:
        """The clips in numbers, for scripts."""
        states = [entry.state for entry in self.entries]
        names = {"delivered": "done", "set_aside": "set aside", "failed": "failed", "not_yet": "not yet"}
        return {
            "lists": len(self.lists),
            "listed": len(states),
            **{name: states.count(state) for name, state in names.items()},
            "ungraded": self.ungraded,
        }


def request_id(clip_list: str, recipe: str, only: Iterable[str], excerpts: Sequence[str] = ()) -> str:
    """Identity of a request within an output folder."""
    return digest_of([clip_list, recipe, list(only), *([list(excerpts)] if excerpts else [])], 12)


FOLDER = "log/requests"


def keep_asking(out: Path, asking: Asking) -> None:
    """Keep a request in place of its earlier self. ResourceError or DeliveryError where the folder cannot be written to."""
    name = f"{FOLDER}/{asking.id}.json"
    title = asking.title.plain()
    missing = [each.plain() for each in asking.missing]
    document = asdict(replace(asking, missing=())) | {
        "schema": ASKED,
        "named": sorted(asking.named),
        "title": title,
        "missing": missing,
    }
    try:
        write(out, name, json.dumps(document).encode())
    except OSError as error:
        raise from_os(error, out / name) from None


def read_askings(out: Path) -> tuple[list[Asking], list[str]]:
    """The requests of an output folder, in the order in which they were read last; and the files that do not read."""
    found, faults = [], []
    for path in sorted((out / FOLDER).glob("*.json")):
        try:
            document = plain_json(read_bytes(out, f"{FOLDER}/{path.name}"))
            found.append(_asking_of(AskedRequest.read(document)))
        except (OSError, RushlightError, ValueError):
            text = f"{FOLDER}/{path.name} cannot be read: of its request, only what was made is counted"
            faults.append(text)
    return sorted(found, key=lambda asking: (asking.when, asking.id)), faults


def _asking_of(kept: AskedRequest) -> Asking:
    return Asking(
        list=kept.clip_list,
        recipe=kept.recipe,
        only=tuple(kept.only),
        excerpts=tuple(kept.excerpts),
        when=kept.when,
        rows=tuple(map(_asked_of, kept.rows)),
        gone=tuple(map(_asked_of, kept.gone)),
        named=frozenset(kept.named),
        walk=Walk.of(kept.walk) if kept.walk is not None else None,
        title=kept.title,
        day=kept.day,
        missing=tuple(kept.missing),
    )


def _asked_of(row: AskedRow) -> Asked:
    return Asked(
        job=row.job,
        clip=row.clip,
        line=row.line,
        asks=row.asks,
        original=row.original,
        dropped=row.dropped,
        folder=row.folder,
        files=tuple(row.files),
        range=row.range,
        grade=row.grade,
        look=row.look,
        outputs=tuple(row.outputs),
        when=row.when,
    )


def drop_rows(out: Path, jobs: Iterable[str]) -> None:
    """A person took these jobs out of the queue: no row asks for them any more."""
    gone = set(jobs)
    for asking in read_askings(out)[0]:
        if gone & {row.job for row in asking.rows}:
            rows = tuple(replace(row, dropped=row.dropped or row.job in gone) for row in asking.rows)
            keep_asking(out, replace(asking, rows=rows))


@dataclass
class _Seen:
    clip: str
    lists: dict[str, Asked] = field(default_factory=dict)  # by list, what was read last at the end


def day_of(askings: Sequence[Asking], records: Mapping[str, JobRecord]) -> Day:
    """All requests taken together, with the record that holds of each job. What was made and no row asks for any more counts as
    well; a request of which everything was dropped, and nothing made, does not."""

    def status(job: str) -> str:
        found = records[job].status if job in records else ""
        return found if found in ("done", "set aside", "failed") else "not yet"

    askings = sorted(askings, key=lambda asking: asking.when)
    live = [
        asking
        for asking in askings
        if not asking.rows or any(not row.dropped or status(row.job) == "done" for row in asking.rows)
    ]
    settled = _settled([asking for asking in live if not asking.excerpts], records)
    seen: dict[str, _Seen] = {}
    dropped: dict[str, str] = {}
    for asking in askings:
        for row in asking.rows:
            if row.dropped and status(row.job) != "done":
                dropped[row.job] = row.clip
            elif row.job not in settled:
                lists = seen.setdefault(row.job, _Seen(row.clip)).lists
                lists.pop(asking.list, None)
                lists[asking.list] = row
    for job, record in records.items():
        if status(job) != "not yet" and job not in settled.keys() | dropped.keys():
            seen.setdefault(job, _Seen(record.clip))
    entries = tuple(
        Entry(
            job=job,
            clip=each.clip,
            state=status(job),
            lists=told_apart(list(each.lists)),
            differs=differing(list(each.lists.values())),
        )
        for job, each in seen.items()
    )
    made = [records[entry.job] for entry in entries if entry.state == "done"]
    named = {key for asking in live for key in asking.named} | made_from(made)
    return Day(
        entries=entries,
        media=taken_together([a.walk for a in live if a.walk], named),
        dropped={job: clip for job, clip in dropped.items() if job not in seen},
        lists=tuple(dict.fromkeys(asking.list for asking in live)),
        settled=settled,
        ungraded=sum(record.look is None or record.look.grade is None for record in made),
        title=next((asking.title for asking in reversed(askings) if asking.title), NO_TITLE),
        missing=tuple(each for asking in live for each in asking.missing),
    )


def told_apart(paths: Sequence[str]) -> tuple[str, ...]:
    """Names of files; where two of them have one name, with as many folders above as tell them apart."""
    parts = [Path(path).parts for path in paths]
    for count in range(1, max(map(len, parts), default=0)):
        names = [str(Path(*each[-count:])) for each in parts]
        if len(set(names)) == len(set(paths)):
            return tuple(names)
    return tuple(paths)


def differing(rows: Sequence[Asked]) -> tuple[str, ...]:
    """What several rows ask for otherwise of one clip, in words; empty where they agree."""
    if len({row.asks for row in rows}) < 2:
        return ()
    if not all(row.look for row in rows):
        return ("range, grade or original",)  # of older versions
    found = [name for name in ("range", "grade") if len({getattr(row, name) for row in rows}) > 1]
    if "grade" not in found and len({row.look for row in rows}) > 1:
        found.append("look")
    return tuple(found) or ("original",)


def made_from(records: Iterable[JobRecord]) -> set[str]:
    """The keys of the originals that clips were made from."""
    sources = [record.source for record in records if record.source]
    return {str(original_key(Path(source.path))) for source in sources if source.path}


def _settled(askings: Sequence[Asking], records: Mapping[str, JobRecord]) -> dict[str, Settled]:
    """Bad rows whose clip counts already, in whichever order the lists were read: an original counts once.

    Another list that has the clip right settles them; the same list with another `--only` where it has more rows of the clip
    right; another recipe of the same list does not; and what was delivered of the clip and no row asks for any more does.
    """
    made = {job for job, record in records.items() if record.status == "done"}
    asked = {row.job for asking in askings for row in asking.rows}
    before = Counter(_name(records[job].clip) for job in made - asked)
    planned = [
        Counter(_name(row.clip) for row in a.rows if row.asks and (not row.dropped or row.job in made))
        for a in askings
    ]
    found: dict[str, Settled | None] = {}
    for index, asking in enumerate(askings):
        nth = Counter[str]()
        for row in asking.rows:
            if row.asks or row.dropped:
                continue
            name = _name(row.clip)
            right = [
                place
                for place, (other, theirs) in enumerate(zip(askings, planned, strict=True))
                if theirs[name] > (planned[index][name] if other.list == asking.list else 0)
                and (other.list != asking.list or other.recipe == asking.recipe)
            ]
            one = None
            if right:
                later = right[-1] > index
                text = _taken_up(row, asking, askings[right[-1]], later=later)
                one = Settled(clip=row.clip, text=text, later=later)
            elif nth[name] < before[name]:
                text = f"line {row.line} of {asking.name} was not used; what was delivered before stays"
                one = Settled(clip=row.clip, text=text, later=False)
            nth[name] += 1
            found[row.job] = _both(found[row.job], one) if row.job in found else one
    return {job: one for job, one in found.items() if one}


def _both(first: Settled | None, second: Settled | None) -> Settled | None:
    """One bad row that two requests have, of a list with two choices of its rows."""
    return second and first and replace(second, later=first.later and second.later)


def _name(clip: str) -> str:
    """A clip's name without a movie's suffix, which a list may leave out."""
    path = PurePosixPath(clip)
    return str(path.with_suffix("")) if path.suffix.lower() in MOVIES else clip


def _taken_up(row: Asked, asking: Asking, other: Asking, *, later: bool) -> str:
    first, second = told_apart([asking.list, other.list]) if other.list != asking.list else (asking.name,) * 2
    since = ", since it was read later" if later else ""
    return f"line {row.line} of {first} was not used; what {second} says is used{since}"
