"""What of a clip is to be made in an output folder: its outputs, those that are missing or stale, and what became of its original."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from rushlight.batch.due.mended_originals import Mended, mended_since
from rushlight.batch.due.sound_alone import SoundNews, news_of
from rushlight.batch.plan.clip import fields_of_clip
from rushlight.batch.plan.clip_sound import recorded_sound_text, same_sound, sound_record
from rushlight.batch.plan.jobs import Known, is_asked, job_id, output_specs
from rushlight.batch.plan.model import PlannedClip
from rushlight.batch.plan.original_hashes import hashes_of
from rushlight.batch.plan.prepare import Prepared
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.what_is_there import to_make
from rushlight.pipelines.job.spec import OutputSpec
from rushlight.pipelines.originals.probe import full_hash, sampled_hash

__all__ = ["Due", "due_of"]


@dataclass(frozen=True, kw_only=True)
class Due:
    """What of a clip is to be made: its outputs, those of them that are asked for now, that are missing, and of which the sound alone
    is; `stale` are names of those that differ from what is there, and are not asked for; `mended`: what became of damaged frames of
    its original."""

    outputs: tuple[OutputSpec, ...]
    asked: tuple[OutputSpec, ...]
    stale: tuple[str, ...]
    missing: tuple[OutputSpec, ...]
    news: SoundNews
    fields: Mapping[str, str]
    hashes: tuple[str, str]  # as logged, and as sampled
    mended: Mended


def due_of(prepared: Prepared, clip: PlannedClip, out: Path, record: JobRecord | None) -> Due:
    recipe = prepared.recipe
    sampled, logged = hashes_of(clip, record, full=prepared.request.hash_originals)
    conform = recipe.variable_rate == "conform" and clip.facts.variable_rate
    frames = range(clip.first, clip.first + clip.count)
    mended = mended_since(record, sampled, clip.facts, frames, conform=conform)
    if mended.text:  # the record has the hashes of the damaged copy
        sampled = sampled_hash(clip.facts)
        logged = full_hash(clip.facts) if prepared.request.hash_originals else sampled
    fields = fields_of_clip(clip, recipe, prepared.request.title)
    known = Known(
        source=mended.identity(sampled),
        fields=fields,
        fonts=prepared.fonts,
        missing_frames=recipe.missing_frames,
        recorded=frozenset(entry.identity for entry in record.outputs) if record else frozenset(),
    )
    outputs = output_specs(clip, recipe, known)
    asked = tuple(o for o in outputs if is_asked(clip, o.output))
    differing = to_make(out, outputs, record)
    missing = tuple(o for o, _ in differing if o in asked)
    if record and record.status != "done" and not missing:
        missing = asked
    news = SoundNews(clip=clip.row.clip)
    if record and missing:
        other = not same_sound(record.sound, sound_record(clip))
        told = {column: (record.row or {}).get(column, "") for column in clip.row.filled}
        shown = {**fields, **told, "sound": recorded_sound_text(clip, record.sound)}
        was = output_specs(replace(clip, sound=None), recipe, replace(known, fields=shown))
        differ = [name for name, text in shown.items() if text != fields.get(name, "")]
        news = news_of(clip.row.clip, out, missing, record, was=was, other_sound=other, other_fields=differ)
    return Due(
        outputs=outputs,
        asked=asked,
        stale=tuple(
            o.output
            for o, why in differing
            if o not in asked and why == "changed" and not prepared.request.left.get(job_id(clip))
        ),
        missing=missing,
        news=news,
        fields=fields,
        hashes=(logged, sampled),
        mended=mended,
    )
