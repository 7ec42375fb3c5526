"""What of an output folder may go by policy. Pure: files, records and what deliveries name in, what may go and what stays out.

Only what the log knows of may go: a file under `revisions/` that is as its record has it and that a later record replaced. A clip's
current files never may, nor what a delivery names, nor the newest revision of a clip whose own files are not all there.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from rushlight.batch.finish.other_names import PARKED
from rushlight.batch.job_log import latest
from rushlight.batch.records.files import Output, revision_path
from rushlight.batch.records.job_record import JobRecord, Replaced
from rushlight.batch.records.space import MayGo, SpacePolicy, Stays
from rushlight.batch.space.survey import Found
from rushlight.pipelines.counted import counted
from rushlight.pipelines.inside_folder import same_time

__all__ = ["Choice", "choose"]

DAY = 86_400  # seconds
REVISIONS, WORK = "revisions/", ".work/"
SECOND = 1_000_000_000  # ns: records say when they were written to the second


@dataclass(frozen=True, kw_only=True)
class Choice:
    """What may go, and superseded files that stay, by the reason."""

    may_go: tuple[MayGo, ...] = ()
    stays: tuple[Stays, ...] = ()


@dataclass(frozen=True, kw_only=True)
class _Old:
    """A superseded file as it is there, what a record tells of it, and when it was replaced."""

    file: Found
    job: str
    clip: str
    output: str
    revision: int
    hash: str
    when: str


def choose(
    files: Sequence[Found],
    records: Sequence[JobRecord],
    policy: SpacePolicy,
    *,
    named: Mapping[str, str],
    now: float,
    there: Callable[[Output], bool],
    placed: Mapping[tuple[str, str], str] = {},
) -> Choice:
    """What may go of these files.

    `records`: all of the log in order. `named`: deliveries by the hash of each file that they name, `placed` by its job and place under `revisions/`. `now`: seconds since 1970.
    `there`: whether a current file is there as its record has it.
    """
    stays: dict[str, list[Found]] = defaultdict(list)
    groups: dict[tuple[str, str], list[_Old]] = defaultdict(list)
    log = _Log(records)
    for file in files:
        if file.name.startswith(REVISIONS):
            old = log.superseded(file)
            if isinstance(old, _Old):
                groups[old.job, old.output].append(old)
            else:
                stays[old].append(file)
    going: list[MayGo] = []
    for (job, output), group in groups.items():
        least = 0 if log.has_current(job, output, there) else 1
        newest = sorted({old.revision for old in group}, reverse=True)[: max(policy.keep_revisions, least)]
        for old in group:
            delivery = named.get(old.hash) or placed.get((old.job, old.file.name))
            if delivery:
                stays[f"handed over in {delivery}"].append(old.file)
            elif why := _why_it_stays(old, newest, policy, now):
                stays[why].append(old.file)
            else:
                going.append(_going(old))
    going += _finished_work(files, log, policy, now)
    return Choice(
        may_go=tuple(sorted(going, key=lambda each: each.path)),
        stays=tuple(
            Stays(why=why, files=len(found), bytes=sum(file.bytes for file in found))
            for why, found in sorted(stays.items())
        ),
    )


def _why_it_stays(old: _Old, newest: Sequence[int], policy: SpacePolicy, now: float) -> str:
    """Why a superseded file stays by policy; empty where it may go."""
    if old.revision in newest:
        if len(newest) > policy.keep_revisions:
            return "the newest of its clip, whose own file is not there"
        some = f"among the {len(newest)} newest revisions" if len(newest) > 1 else "the newest revision"
        return f"{some} of its clip and output"
    if policy.older_than and not _is_older(old.when, policy.older_than, now):
        return f"replaced less than {counted(policy.older_than, 'day')} ago, or nobody knows when"
    return ""


def _is_older(when: str, days: int, now: float) -> bool:
    try:
        return now - datetime.fromisoformat(when).timestamp() >= days * DAY
    except (ValueError, OverflowError):
        return False


def _going(old: _Old) -> MayGo:
    return MayGo(
        kind="revision",
        path=old.file.name,
        files=1,
        bytes=old.file.bytes,
        hash=old.hash,
        job=old.job,
        clip=old.clip,
        output=old.output,
        revision=old.revision,
        replaced=old.when,
        mtime_ns=old.file.mtime_ns,
    )


class _Log:
    """The records of a folder, asked by the place of a superseded file."""

    def __init__(self, records: Sequence[JobRecord]) -> None:
        self.latest = latest(records)
        self._places: dict[str, list[tuple[JobRecord, Output]]] = defaultdict(list)
        self._told: dict[str, list[tuple[JobRecord, Replaced]]] = defaultdict(list)
        self._replaced: dict[
            tuple[str, str], str
        ] = {}  # place and hash -> when; the first record that says it
        for record in records:
            for entry in record.outputs:
                self._places[revision_path(entry)].append((record, entry))
            for old in record.replaced:
                self._told[old.kept].append((record, old))
                self._replaced.setdefault((old.kept, old.hash), record.finished)
        self._current = {(revision_path(e), e.hash) for r in self.latest.values() for e in r.outputs}

    def superseded(self, file: Found) -> _Old | str:
        """A file under `revisions/`, once a later record replaced it; else why it stays."""
        known = (
            (record, entry)
            for record, entry in reversed(self._places.get(file.name, ()))
            if entry.bytes == file.bytes and same_time(entry.mtime_ns, file.mtime_ns)
        )
        record, entry = next(known, (None, None))
        if record is None or entry is None:
            return self._stood(file) or "not as the log has it, or not of its files"
        if (file.name, entry.hash) in self._current:
            return "its clip has nothing newer yet"
        when = self._replaced.get((file.name, entry.hash), self._replaced.get((file.name, "")))
        if when is None:
            return "no record says that it was replaced"
        return _Old(
            file=file,
            job=record.job,
            clip=record.clip,
            output=entry.output,
            revision=entry.revision,
            hash=entry.hash,
            when=when,
        )

    def _stood(self, file: Found) -> _Old | None:
        """A file that stood at the name of a new one, or is kept at another number than its revision's, as a record tells of it."""
        for record, old in reversed(self._told.get(file.name, ())):
            if old.bytes == file.bytes and old.mtime_ns and same_time(old.mtime_ns, file.mtime_ns):
                return _Old(
                    file=file,
                    job=record.job,
                    clip=record.clip,
                    output=old.output,
                    revision=int(file.name.split("/")[1]),
                    hash=old.hash,
                    when=record.finished,
                )
        return None

    def has_current(self, job: str, output: str, there: Callable[[Output], bool]) -> bool:
        """True if an output of a clip is delivered, and all its files are there."""
        record = self.latest.get(job)
        entries = [entry for entry in record.outputs if entry.output == output] if record else []
        return bool(entries) and all(map(there, entries))


def _finished_work(files: Iterable[Found], log: _Log, policy: SpacePolicy, now: float) -> Iterable[MayGo]:
    """Working folders of clips that were delivered after anything was last written there, days ago: a night was killed before it
    took them away."""
    if not policy.older_than:
        return
    work: dict[str, list[Found]] = defaultdict(list)
    for file in files:
        if file.name.startswith(WORK) and file.name.count("/") > 1:
            work[file.name.split("/")[1]].append(file)
    for job, found in work.items():
        record = log.latest.get(job)
        if f"{WORK}{job}" == PARKED or record is None or record.status != "done" or record.error:
            continue
        newest = max(file.mtime_ns for file in found)
        if not _is_older(record.finished, policy.older_than, now):
            continue
        if newest > int(datetime.fromisoformat(record.finished).timestamp() + 1) * SECOND:
            continue  # it is in hand again
        yield MayGo(
            kind="work",
            path=f"{WORK}{job}",
            files=len(found),
            bytes=sum(file.bytes for file in found),
            hash="",
            job=job,
            clip=record.clip,
            output="",
            revision=0,
            replaced=record.finished,
            mtime_ns=newest,
        )
