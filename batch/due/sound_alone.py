"""Sound that comes days later: which delivered movies get new sound under their pictures, why others are rendered again, in words.

A movie's pictures are those that are wanted where its record says so (`picture_identity`). An older version's record does not:
it is sure where the movie as it would be made with the sound that it has is the one that was delivered.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from rushlight.batch.records.files import DeliveredMovie
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.what_is_there import still_there
from rushlight.pipelines.burnin.text_fields import CARD_FIELDS, fields_of
from rushlight.pipelines.counted import counted, shortened
from rushlight.pipelines.job.spec import MovieSpec, OutputSpec

__all__ = ["SoundNews", "news_of", "told"]

DRAWN = "what is drawn into its picture is another now"
GONE = "the delivered file is not there as it was recorded"
OLDER = "an older version made it, and its record does not tell whether the pictures stay"
MOST_NAMED = 6


@dataclass(frozen=True, kw_only=True)
class SoundNews:
    """Of one clip: the outputs that get new sound alone, and those whose sound is new and that are rendered again all the
    same, with the reason."""

    clip: str
    alone: tuple[str, ...] = ()
    again: Mapping[str, str] = field(default_factory=dict)


def news_of(
    clip: str,
    out: Path,
    missing: Sequence[OutputSpec],
    record: JobRecord,
    *,
    was: Iterable[OutputSpec],
    other_sound: bool,
    other_fields: Collection[str] = ("sound",),
) -> SoundNews:
    """What becomes of outputs that are to be made. `was`: the outputs as they would be with the sound that the record has.
    `other_sound`: whether the clip's is another; `other_fields`: those of burn-in that are others with it."""
    delivered = record.outputs if record.status == "done" else ()
    entries = {entry.output: entry for entry in delivered if isinstance(entry, DeliveredMovie)}
    before = {spec.output: spec for spec in was if isinstance(spec, MovieSpec)}
    alone: list[str] = []
    again: dict[str, str] = {}
    for output in missing:
        entry, old = entries.get(output.output), before.get(output.output)
        if not isinstance(output, MovieSpec) or entry is None or old is None:
            continue
        if entry.path != f"{output.folder}/{output.file}" or entry.identity == output.identity:
            continue
        as_before = _pictures(entry, old)
        if as_before == output.picture_identity and still_there(out, entry):
            alone.append(output.output)
        elif other_sound and (why := _why(output, old, as_before, other_fields)):
            again[output.output] = why
    return SoundNews(clip=clip, alone=tuple(alone), again=again)


def _pictures(entry: DeliveredMovie, old: MovieSpec) -> str:
    """Identity of a delivered movie's pictures; empty where nobody knows."""
    return entry.picture_identity or (old.picture_identity if entry.identity == old.identity else "")


def _why(output: MovieSpec, old: MovieSpec, as_before: str, other_fields: Collection[str]) -> str:
    """Why a movie with other sound is rendered again; empty where its pictures are to be others for another reason."""
    if as_before == output.picture_identity:
        return GONE
    if as_before == old.picture_identity:
        shown = [*(fields_of(output.burnin) if output.burnin else ()), *(CARD_FIELDS if output.card else ())]
        return f"{DRAWN}: {', '.join(dict.fromkeys(f'{{{name}}}' for name in shown if name in other_fields))}"
    return OLDER if not as_before else ""


def told(news: Iterable[SoundNews]) -> list[str]:
    """Sentences on many clips: what gets sound alone, and what is rendered again, by output and reason."""
    alone: dict[tuple[str, ...], list[str]] = {}
    again: dict[tuple[str, str], list[str]] = {}
    for each in news:
        if each.alone:
            alone.setdefault(each.alone, []).append(each.clip)
        for output, why in each.again.items():
            again.setdefault((output, why), []).append(each.clip)
    said = [
        f"new sound alone, under the pictures that are there: {', '.join(outputs)} of {_listed(clips)}"
        for outputs, clips in alone.items()
    ]
    said += [
        f"rendered again, pictures and all, for its new sound: {output} of {_listed(clips)}: {why}"
        for (output, why), clips in again.items()
    ]
    return said


def _listed(clips: Sequence[str]) -> str:
    names = shortened(clips, MOST_NAMED)
    return names if len(clips) == 1 else f"{counted(len(clips), 'clip')} ({names})"
