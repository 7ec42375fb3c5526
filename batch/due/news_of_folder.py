"""What `plan` says of an output folder, before anything is made: room, new sound, and originals that were copied again."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from rushlight.batch.due.due_outputs import Due, due_of
from rushlight.batch.due.mended_originals import spoilt_text
from rushlight.batch.due.sound_alone import told
from rushlight.batch.finish.other_names import moves_of
from rushlight.batch.job_log import latest, read_log
from rushlight.batch.plan.clip import fields_of_clip
from rushlight.batch.plan.clip_sound import same_sound, sound_record
from rushlight.batch.plan.jobs import Known, is_asked, job_id, output_specs
from rushlight.batch.plan.prepare import Prepared
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.room.output_sizes import measured_in
from rushlight.batch.room.room_forecast import ToMake
from rushlight.batch.room.room_of_jobs import room_of_clip
from rushlight.batch.what_is_there import still_there
from rushlight.pipelines.heartbeat import beating
from rushlight.pipelines.job.spec import OutputSpec

__all__ = ["damage_news", "room_to_make", "sound_news"]


def room_to_make(prepared: Prepared, out: Path) -> tuple[list[ToMake], int]:
    """What `render` into a folder would make, what that stands in for, and of how many clips. Of originals that the log knows nothing
    of no hash is taken."""
    records = latest(read_log(out).records)
    measured, found, clips = measured_in(records.values()), list[ToMake](), 0
    for clip in beating(list(prepared.plan.clips)):
        record = records.get(job_id(clip))
        clips += 1
        with suppress(Exception):  # `render` says of which clip it is a fault
            if record:
                outputs = _anew(out, record, due_of(prepared, clip, out, record))
            else:
                fields = fields_of_clip(clip, prepared.recipe, prepared.request.title)
                known = Known(source="", fields=fields, fonts=prepared.fonts)
                made = output_specs(clip, prepared.recipe, known)
                outputs = tuple(o for o in made if is_asked(clip, o.output))
            if outputs:
                found.append(room_of_clip(clip, out, outputs, record, measured))
            else:
                clips -= 1
    return found, clips


def _anew(out: Path, record: JobRecord, due: Due) -> tuple[OutputSpec, ...]:
    """What of a clip is missing, but for what only moves to its new name."""
    moving = {each.entry.output for each in moves_of(record, due.outputs) if still_there(out, each.entry)}
    same = {entry.identity for entry in record.outputs if entry.output in moving}
    return tuple(output for output in due.missing if output.identity not in same)


def sound_news(prepared: Prepared, out: Path) -> list[str]:
    """Sentences on what `render` into a folder would do with movies that are there and get other sound."""
    records, news = latest(read_log(out).records), []
    for clip in beating(list(prepared.plan.clips)):
        record = records.get(job_id(clip))
        if record and not same_sound(record.sound, sound_record(clip)):
            with suppress(Exception):  # `render` says of which clip it is a fault
                news.append(due_of(prepared, clip, out, record).news)
    return told(news)


def damage_news(prepared: Prepared, out: Path) -> list[str]:
    """Sentences on clips that were delivered with damaged frames: of which `render` into a folder would find these mended, and how
    the others are made anew."""
    records, found = latest(read_log(out).records), list[str]()
    for clip in beating(list(prepared.plan.clips)):
        record = records.get(job_id(clip))
        if record and record.damage:
            with suppress(Exception):  # `render` says of which clip it is a fault
                mended = due_of(prepared, clip, out, record).mended
                again = f"{clip.called}: {mended.text}; `render` makes it again" if mended.text else ""
                found.append(again or spoilt_text(clip.called, record, mended))
    return found
