"""A new record of a clip joined with what still holds of the one before: outputs that were not made again, their pictures and tiles."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import TypeVar

from rushlight.batch.records.colour import CAUTION, Colour, Picture, ShiftedTiles, SomeColour, cautions
from rushlight.batch.records.files import DeliveredStill, Output
from rushlight.batch.records.job_record import DeliveredRecord, JobRecord, MadeWith, UndeliveredRecord
from rushlight.batch.records.look import OtherLook
from rushlight.batch.records.original import DAMAGED, Counts, Original, damage_said
from rushlight.pipelines.measure.checksum import colour_digest

__all__ = [
    "checksum_of",
    "looks_shown",
    "made_of",
    "merged",
    "only_outputs",
    "with_delivered",
    "with_outputs",
]

T = TypeVar("T", Picture, ShiftedTiles, MadeWith)
R = TypeVar("R", bound=JobRecord)
C = TypeVar("C", bound=SomeColour)
# What a clip that was not delivered still says of what an earlier night delivered of it.
_DELIVERED_BEFORE = {
    *("source", "look", "outputs", "colour", "revision", "reel", "first_timecode", "rate"),
    *("made_with", "damage"),
}


def merged(
    record: DeliveredRecord, before: JobRecord | None, keep: Collection[str], replaced: Collection[str] = ()
) -> DeliveredRecord:
    """A new record with the entries of the one before that are of outputs in `keep` and were not made again; what was seen of their
    pictures (damaged frames, flashes, what left 0..1) stays too, unless all of them are soon `replaced`."""
    if before is None or not before.outputs or not keep:
        return record
    still = set(keep) - {entry.output for entry in record.outputs}
    outputs = [*(entry for entry in before.outputs if entry.output in still), *record.outputs]
    seen = record.original if record.original and record.original.plain() else before.original
    colour = _colour(record.colour, before.colour, still, outputs)
    made = [*record.made_with, *made_of(before.made_with, still)]
    update: dict[str, object] = {"outputs": outputs, "colour": colour, "made_with": _joined(made)}
    if looks := {**before.looks, **record.looks}:
        update["looks"] = looks_shown(looks, colour.pictures, outputs)
    if still - set(replaced):
        oldest = min((entry.revision for entry in outputs if entry.output in still), default=1)
        update.update(_seen(record, before, colour.pictures, oldest))
    return record.model_copy(update={**update, "original": seen or Original()})


def _seen(
    record: DeliveredRecord, before: JobRecord, pictures: Sequence[Picture], oldest: int
) -> dict[str, object]:
    """What was seen of a clip's frames, in both records: a turn of stills has decoded a frame or two. `oldest` is the revision of the
    oldest file that stays: damage that was found before it is in none any more."""
    known = [each for each in before.damage if (each.revision or before.revision) >= oldest]
    if before.revision != record.revision:
        known = [d if d.revision else d.model_copy(update={"revision": before.revision}) for d in known]
    frames = {each.frame: each for each in (*known, *record.damage)}
    damage = [frames[frame] for frame in sorted(frames)]
    one, other = (each.counts or Counts() for each in (before, record))
    wider = before if one.pixels > other.pixels else record
    others = [
        text for text in record.warnings if not (_is_of_range(text) or text.startswith((CAUTION, DAMAGED)))
    ]
    ranges = [text for text in wider.warnings if _is_of_range(text)]
    warnings = [*others, *damage_said(damage), *ranges, *cautions(pictures)]
    return {"damage": damage, "counts": wider.counts, "warnings": list(dict.fromkeys(warnings))}


def _joined(made: Sequence[MadeWith]) -> list[MadeWith]:
    """Those of the same versions, graded by the same, as one."""
    found: list[MadeWith] = []
    for each in made:
        made_alike = (
            n
            for n, other in enumerate(found)
            if (other.versions, other.graded_by) == (each.versions, each.graded_by)
        )
        alike = next(made_alike, None)
        if alike is None:
            found.append(each)
        else:
            names = [*found[alike].outputs, *each.outputs]
            found[alike] = each.model_copy(update={"outputs": names})
    return found


def _colour(new: Colour, old: SomeColour, still: Collection[str], outputs: list[Output]) -> Colour:
    pictures = [*new.pictures, *_shown(old.pictures, still)]
    faults = _shown(old.faults, still)
    update: dict[str, object] = {
        "pictures": pictures,
        "tiles": {**{name: tiles for name, tiles in old.tiles.items() if name in still}, **new.tiles},
        "sensitivity": new.sensitivity or old.sensitivity,
        "digest": checksum_of(pictures, outputs),
    }
    if faults:
        update["faults"] = [*new.faults, *faults]
    return new.model_copy(update=update)


def with_outputs(record: R, outputs: Sequence[Output]) -> R:
    """A record with these entries, of files of its own under other names or of fewer outputs."""
    colour = only_outputs(record.colour, {entry.output for entry in outputs})
    if colour.digest:
        colour = colour.model_copy(update={"digest": checksum_of(colour.pictures, outputs)})
    looks = {"looks": looks_shown(record.looks, colour.pictures, outputs)} if record.looks else {}
    made = made_of(record.made_with, {entry.output for entry in outputs})
    told = {**looks, **({"made_with": made} if made else {})}
    return record.model_copy(update={"outputs": list(outputs), "colour": colour, **told})


def with_delivered(record: UndeliveredRecord, before: JobRecord | None) -> UndeliveredRecord:
    """The record of a clip that was not delivered, with what was delivered of it earlier: that is still there, and still known."""
    if before is None or not before.outputs:
        return record
    told = _DELIVERED_BEFORE & before.model_fields_set
    return record.model_copy(update={name: value for name, value in before if name in told})


def only_outputs(colour: C, outputs: Collection[str]) -> C:
    """The colour of a record as far as it is of some of its outputs."""
    return colour.model_copy(
        update={
            "pictures": _shown(colour.pictures, outputs),
            "tiles": {name: tiles for name, tiles in colour.tiles.items() if name in outputs},
            "faults": _shown(colour.faults, outputs),
        }
    )


def made_of(made: Sequence[MadeWith], outputs: Collection[str]) -> list[MadeWith]:
    """The versions that made some of the outputs."""
    return _shown(made, outputs)


def _shown(found: Sequence[T], still: Collection[str]) -> list[T]:
    """Items that some of the outputs show, for these alone."""
    parted = ((each, [name for name in each.outputs if name in still]) for each in found)
    return [each.model_copy(update={"outputs": names}) for each, names in parted if names]


def checksum_of(pictures: Iterable[Picture], outputs: Iterable[Output]) -> str:
    """Checksum of a clip's colour: over all these pictures and stills."""
    shown = {name: picture.digest for picture in pictures for name in picture.outputs}
    return colour_digest(
        shown | {entry.path: entry.digest for entry in outputs if isinstance(entry, DeliveredStill)}
    )


def looks_shown(
    looks: Mapping[str, OtherLook], pictures: Sequence[Picture], outputs: Sequence[Output]
) -> dict[str, OtherLook]:
    """Those of the looks that an output shows, in order, each with the checksum of its own pictures and stills."""
    shown = {name: [entry for entry in outputs if entry.look == name] for name in looks}
    return {
        name: looks[name].model_copy(
            update={"colour": checksum_of([p for p in pictures if p.look == name], entries)}
        )
        for name, entries in shown.items()
        if entries
    }


def _is_of_range(text: str) -> bool:
    """True of a sentence of `range_warnings` (measure/out_of_range.py), which loads the kernel."""
    return (
        text.startswith(("log codes outside", "pushed out of")) or " lie outside what the look spans" in text
    )
