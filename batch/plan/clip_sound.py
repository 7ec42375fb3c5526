"""The sound of a planned clip: which take, or why the camera's; as a job, a record, an identity and a burn-in field have it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import Literal

from rushlight.batch.lists.recording_dates import header_date, row_date
from rushlight.batch.plan.model import PlannedClip
from rushlight.batch.records.sound import ClipSound as SoundRecord
from rushlight.batch.records.sound import SoundFile
from rushlight.batch.sound.sound_folders import SoundFolders
from rushlight.batch.sound.sound_statements import lay_of, sound_stated
from rushlight.batch.sound.take_matching import Chosen, ClipSound, choose, silence
from rushlight.pipelines.job.from_spec import NO_SOUND
from rushlight.pipelines.job.spec import SoundFileSpec, SoundSpec
from rushlight.pipelines.originals.probe import ends_hash
from rushlight.pipelines.outputs.production_sound import track_label
from rushlight.pipelines.recipe.model import MovieOutput, Recipe
from rushlight.pipelines.sound.placing import Shown

MOST_DRAWN = 32  # characters of a file's name that a burn-in shows
FREE = 2e-6  # how fast two free-running clocks of that many ppm come apart: half a frame at 24 in 174 minutes

__all__ = [
    "drift_notes",
    "production_identity",
    "recorded_sound_text",
    "same_sound",
    "shown_of",
    "sound_record",
    "sound_spec",
    "sound_text",
    "stated_cells",
    "with_sound",
]


def with_sound(
    clip: PlannedClip, said: Mapping[str, str], recipe: Recipe, media: SoundFolders, utc_offset: int | None
) -> PlannedClip:
    """The clip with its sound chosen. `said` are what defaults state. ListError with its key for a wrong cell, a tie, and files
    that will not do."""
    stated = sound_stated(clip.row.cells, said, clip.rate, offset=recipe.sound_offset)
    if not media.folders and not stated.files:
        return clip
    if recipe.sound == "camera" and not stated.files and not stated.none:
        return replace(clip, sound=Chosen(reason="the recipe wants the camera's", wanted=False))
    chosen = choose(_of_clip(clip, utc_offset), stated, media)
    notes = [*clip.warnings, *chosen.notes]
    if chosen.take is None and chosen.wanted:
        own = "the camera's own is carried" if _own(clip) else "and it has none of its own"
        if clip.facts.sound and clip.retimed:
            own = "it is silent, since the camera's own is not in step"
        notes.append(f"has no production sound ({chosen.reason}): {own}")
    return replace(clip, sound=replace(chosen, stated=stated), warnings=tuple(dict.fromkeys(notes)))


def _of_clip(clip: PlannedClip, utc_offset: int | None) -> ClipSound:
    row, facts = clip.row, clip.facts
    return ClipSound(
        shown=shown_of(clip),
        has_timecode=bool(row["timecode"]) or facts.timecode_from != "none",
        scene=row["scene"],
        take=row["take"],
        date=row_date(row),
        made=header_date(facts, utc_offset),
        varispeed=clip.retimed and facts.variable_rate,
    )


def shown_of(clip: PlannedClip) -> Shown:
    """The delivered run of a clip, to place sound under."""
    shot = (clip.capture_rate or clip.facts.rate).fraction
    return Shown(
        timecode=clip.timecode,
        first=clip.first,
        frames=clip.count,
        shot=shot,
        delivered=clip.rate.fraction,
        ahead=clip.camera.clock_offset or Fraction(0),
    )


def sound_spec(chosen: Chosen | None) -> SoundSpec | None:
    """Production sound as a worker is told; None for the camera's."""
    if chosen is None or chosen.take is None or chosen.fit is None:
        return None
    return SoundSpec(
        parts=tuple(
            tuple(
                SoundFileSpec(path=str(r.path.absolute()), bytes=r.bytes, mtime_ns=r.mtime_ns) for r in part
            )
            for part in chosen.take.parts
        ),
        start=str(chosen.fit.start),
        step=str(chosen.fit.step),
    )


def production_identity(clip: PlannedClip, output: MovieOutput, lay: str) -> dict[str, object]:
    """The part of an output's identity that its production sound makes; empty where it has none."""
    chosen = clip.sound
    if chosen is None or chosen.take is None or chosen.fit is None or lay not in ("copy", "mix"):
        return {}
    files = [[_hash(r.path.absolute(), r.bytes, r.mtime_ns) for r in part] for part in chosen.take.parts]
    return {
        "production": {
            "files": files,
            "start": str(chosen.fit.start),
            "step": str(chosen.fit.step),
            "tracks": list(output.tracks),
            "camera_sound": output.camera_sound,
        }
    }


@lru_cache(maxsize=10_000)
def _hash(path: Path, size: int, mtime_ns: int) -> str:
    return ends_hash((path,), path)


def sound_record(clip: PlannedClip) -> SoundRecord | None:
    """A clip's sound as its record has it; None where nobody gave sound folders."""
    chosen = clip.sound
    if chosen is None:
        return None
    if chosen.take is None or chosen.fit is None:
        kind: Literal["camera", "none"] = "none" if _is_mos(clip) or not _own(clip) else "camera"
        return SoundRecord(kind=kind, reason=chosen.reason)
    first = chosen.take.first
    return SoundRecord(
        kind="production",
        reason=chosen.reason,
        files=[
            [
                SoundFile(
                    path=str(r.path.absolute()),
                    bytes=r.bytes,
                    mtime_ns=r.mtime_ns,
                    hash=_hash(r.path.absolute(), r.bytes, r.mtime_ns),
                )
                for r in part
            ]
            for part in chosen.take.parts
        ],
        scene=first.scene,
        take=first.take,
        roll=first.roll,
        tracks=[track_label(t.name, t.place) for t in chosen.take.tracks],
        start=str(chosen.fit.start),
        step=str(chosen.fit.step),
        silence=silence(shown_of(clip), chosen.take, chosen.fit),
    )


def sound_text(clip: PlannedClip) -> str:
    """Sound of a clip, for a burn-in field: the take's file, `camera sound` or `no sound`."""
    if clip.sound and clip.sound.take:
        return _short(clip.sound.take.name)
    return NO_SOUND if _is_mos(clip) or not _own(clip) else "camera sound"


def _short(name: str) -> str:
    """A file's name in at most MOST_DRAWN characters, its end kept: there is the take's number, or the track's."""
    tail = MOST_DRAWN // 2 - 1
    return name if len(name) <= MOST_DRAWN else f"{name[: MOST_DRAWN - tail - 3]}...{name[-tail:]}"


def _own(clip: PlannedClip) -> bool:
    """True if the camera's own sound can be laid: there is some, and it is in step with the pictures as played."""
    return bool(clip.facts.sound) and not clip.retimed


def recorded_sound_text(clip: PlannedClip, recorded: SoundRecord | None) -> str:
    """The same of a sound as a record has it; of None the clip's without production sound."""
    if recorded and recorded.kind == "production" and recorded.file_names:
        return _short(recorded.file_names[0])
    return sound_text(replace(clip, sound=None))


def same_sound(one: SoundRecord | None, other: SoundRecord | None) -> bool:
    """True if two records of a clip's sound are of the same samples: of no take, or of the same files in the same place."""

    def laid(sound: SoundRecord | None) -> object:
        if sound is None or sound.kind != "production":
            return None
        return [[file.hash for file in part] for part in sound.files], sound.start, sound.step

    return laid(one) == laid(other)


def _is_mos(clip: PlannedClip) -> bool:
    """True of a clip whose row wants no sound."""
    return lay_of(clip.row["sound"]) in ("none", "silent")


def stated_cells(clip: PlannedClip) -> dict[str, str]:
    """The cells of a list that lead to the same sound: a take by the names of its files, and what moved it."""
    if clip.sound is None or clip.sound.take is None or clip.sound.stated is None:
        return {}
    stated = clip.sound.stated
    names = [str(r.path.absolute()) for r in clip.sound.take.files]
    plain = not lay_of(clip.row["sound"]) and not any(sign in name for name in names for sign in ";,")
    cells = {"sound": "; ".join(names)} if plain else {}
    if stated.offset:
        cells["sound_offset"] = f"{float(stated.offset):.6f}".rstrip("0").rstrip(".") + " samples"
    if stated.rate:
        cells["sound_rate"] = str(stated.rate)
    return cells


def drift_notes(clips: list[PlannedClip]) -> list[str]:
    """A note where a day is long enough for clocks that were jammed once to be half a frame apart: two of 2 ppm each."""
    sounded = [c for c in clips if c.sound and c.sound.take]
    if not sounded:
        return []
    day = 86400
    starts = sorted(float(c.timecode.frames / c.timecode.rate.nominal) for c in sounded)
    gaps = [b - a for a, b in zip(starts, [*starts[1:], starts[0] + day], strict=True)]
    hours = (day - max(gaps)) / 3600  # the clips lie in the rest of the day, midnight or not
    frame = max(1 / c.rate.fraction for c in sounded)
    apart = hours * 3600 * FREE
    if apart < frame / 2:
        return []
    return [
        f"clips with production sound lie {hours:.1f} hours apart: two clocks that were jammed once and run free (2 ppm apart) may be "
        f"{apart * 1000:.0f} ms apart by then, {float(apart / frame):.1f} frames; `render` hears the two against each other"
    ]
