"""What a delivery lacks: clips that are not delivered, and outputs that a clip has no file of. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from pathlib import PurePath

from rushlight.batch.json_lines import Refused
from rushlight.batch.plan.request_ledger import Day
from rushlight.batch.records.handover import Lacking
from rushlight.batch.records.job_record import JobRecord
from rushlight.pipelines.counted import counted, shortened

__all__ = ["lacking", "sayings"]

EARLIER = "what is here of it was delivered before that"


def lacking(
    day: Day, latest: Mapping[str, JobRecord], refused: Iterable[Refused], outputs: Sequence[str]
) -> list[Lacking]:
    """Clips and outputs that are missing, those that failed first, then in the day's order."""
    found: list[Lacking] = [
        Lacking(clip=each.name, state="no record", text=f"its record does not read: {each.error}")
        for each in refused
    ]
    for entry in day.entries:
        record = latest.get(entry.job)
        if entry.state == "failed":
            found.append(Lacking(clip=entry.clip, state="failed", text=_why(record, outputs)))
        elif entry.state == "set aside":
            found.append(Lacking(clip=entry.clip, state="set aside", text=_why(record, outputs)))
        elif entry.state == "not yet":
            found.append(Lacking(clip=entry.clip, state="not made yet"))
        elif record and record.error:  # delivered, and a later part of it failed
            found.append(Lacking(clip=entry.clip, state="failed", text=record.error))
    found += _without_file(day, latest, outputs)
    found += [
        Lacking(clip=clip, state="dropped", text="taken out of the queue by hand")
        for clip in day.dropped.values()
    ]
    order = ("no record", "failed", "set aside", "not made yet", "no file", "dropped")
    return sorted(found, key=lambda each: order.index(each.state))


def _why(record: JobRecord | None, outputs: Sequence[str]) -> str:
    if record is None:
        return ""
    earlier = any(entry.output in outputs for entry in record.outputs)
    return "; ".join(text for text in (record.error, EARLIER if earlier else "") if text)


def _without_file(day: Day, latest: Mapping[str, JobRecord], outputs: Sequence[str]) -> Iterable[Lacking]:
    """Chosen outputs that a delivered clip has no file of, and other clips of its recipe have. A range or a still of a clip is
    what somebody asked for, and lacks none."""
    made: dict[str, set[str]] = defaultdict(set)
    for each in (record for record in latest.values() if not record.excerpt):
        made[_recipe(each)] |= {entry.output for entry in each.outputs}
    for entry in day.entries:
        if (record := latest.get(entry.job)) and entry.state == "done" and not record.excerpt:
            own = {file.output for file in record.outputs}
            lost = [name for name in outputs if name in made[_recipe(record)] - own]
            if lost:
                text = f"it has no file of {', '.join(lost)}, of which other clips have one"
                yield Lacking(clip=entry.clip, state="no file", text=text)


def _recipe(record: JobRecord) -> str:
    return record.recipe.digest if record.recipe else ""


def sayings(day: Day) -> list[str]:
    """Further sentences on what the whole day lacks or has, for the notes."""
    found = []
    if day.media and (lost := len(day.media["not_listed"])):
        found.append(
            f"{counted(lost, 'original')} of the media {'stands' if lost == 1 else 'stand'} in no list, so that nothing was made of"
            f" {'it' if lost == 1 else 'them'}: {_files(day.media['not_listed'])}"
        )
    if day.media and (bad := len(day.media["unreadable"])):
        files = _files([each["path"] for each in day.media["unreadable"]])
        found.append(f"{counted(bad, 'original')} of the media could not be read: {files}")
    if day.ungraded:
        found.append(
            f"{counted(day.ungraded, 'clip')} of the whole day delivered without a colour decision, through the show transform alone"
        )
    return found


def _files(paths: Sequence[str]) -> str:
    """Names of originals, without the folders that they lie in here."""
    return shortened([PurePath(path).name for path in paths], 6)
