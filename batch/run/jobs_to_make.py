"""A plan -> the jobs of what is missing, changed or damaged in an output folder, with the orders of their turns and their looks baked."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, MutableMapping
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.batch.error_log import kept_fault
from rushlight.batch.finish.other_names import give_way, in_the_way, moved, moves_of, with_names
from rushlight.batch.interrupts import Stop
from rushlight.batch.job_log import append_record, failure_record, latest, read_log, refuse_newer
from rushlight.batch.plan.clip import fields_of_clip
from rushlight.batch.plan.clip_sound import recorded_sound_text, same_sound, sound_record
from rushlight.batch.plan.jobs import (
    Known,
    in_turns,
    is_asked,
    job_id,
    job_spec,
    output_specs,
)
from rushlight.batch.plan.model import Plan, PlannedClip
from rushlight.batch.plan.original_hashes import hashes_of
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.batch.plan.reconcile_media import media_text
from rushlight.batch.queue.filling import Turn
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.records.queue_row import TurnOrders
from rushlight.batch.room.output_sizes import measured_in
from rushlight.batch.room.room_ahead import RoomAhead
from rushlight.batch.room.room_forecast import ToMake
from rushlight.batch.room.room_of_jobs import room_of_clip, room_of_jobs
from rushlight.batch.run.disk_room import Room
from rushlight.batch.run.events import PLANNING, phase
from rushlight.batch.run.forecast import cost_of_outputs
from rushlight.batch.run.kept_inputs import bake_looks, keep_inputs
from rushlight.batch.run.parts_left import parts_left
from rushlight.batch.run.request_accounts import account_for, leave_out, renew_rows
from rushlight.batch.run.sound_alone import SoundNews, news_of, told
from rushlight.batch.what_is_there import damage_there, paths_of, still_there, to_make
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import OptionError, ResourceError, from_os, no_room, own_fault
from rushlight.pipelines.heartbeat import beating
from rushlight.pipelines.inside_folder import refuse_links
from rushlight.pipelines.job.spec import OutputSpec, digest_of
from rushlight.pipelines.portable_name import same_name

if TYPE_CHECKING:
    from rushlight.batch.plan.request import Request
    from rushlight.batch.plan.request_ledger import Day
    from rushlight.batch.run.event_stream import EventStream

__all__ = [
    "baked",
    "jobs_of",
    "make_folder",
    "planned",
    "room_to_make",
    "sound_news",
]


def planned(
    request: Request, events: EventStream, begun: Callable[[int], object] = lambda rows: None
) -> Prepared:
    """`prepare` of a request, with a word as it begins and as it ends. `begun` is told the number of rows once all is read, before they are planned."""

    def begins(rows: int) -> None:
        begun(rows)
        events.event(phase(PLANNING, 0, rows, text=f"planning {counted(rows, 'clip')}"))

    prepared = prepare(request, read=begins)
    rows = len(prepared.clip_list.rows) - prepared.plan.not_chosen
    events.event(phase(PLANNING, rows, rows))
    return prepared


def make_folder(out: Path) -> None:
    """Make an output folder. OptionError where that cannot be done, OutsideError where one of its own folders is a link."""
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        if no_room(error):
            raise from_os(error, out) from None
        raise OptionError(f"cannot be made: {error.strerror}", file=str(out)) from None
    refuse_links(out)


def jobs_of(
    prepared: Prepared,
    out: Path,
    events: EventStream,
    room: Room | None = None,
    *,
    renewed: bool = True,
    ahead: RoomAhead | None = None,
) -> tuple[list[Turn], list[PlannedClip], Day]:
    """Turns to be made in `out`, clips that are there, and the whole day of the folder; inputs and bad rows are kept.
    `renewed`: what was dropped from the queue is asked for again; `ahead` says what will not fit on its disk."""
    room = room or Room(events, Stop(), patient=False)
    plan = prepared.plan
    refuse_links(out)
    log = read_log(out)
    refuse_newer(out, log.records)
    records = latest(log.records)
    dues = _dues(prepared, out, records)
    for text in room.to(out, lambda: _renamed(prepared, out, records, dues)):
        events.note(text)
    turns, settled, news = _turns(prepared, out, dues)
    refuse_links(out, sorted({o.folder for turn in turns for o in turn.spec.outputs}))
    for refused in log.refused:
        events.warning(f"{refused.error}; {refused.name} counts as not made yet")
    for text in plan.warnings:
        events.warning(text)
    spoilt = (damage_there(clip.row.clip, records.get(job_id(clip))) for clip in settled)
    notes = (*told(news), *_excerpts(plan.clips, dues), *parts_left(turns, records), *spoilt)
    for text in filter(None, notes):
        events.note(text)
    days: list[Day] = []

    def kept() -> None:
        make_folder(out)
        days.append(account_for(prepared, out, records, events, renewed=renewed))
        keep_inputs(prepared, out)
        if again := renew_rows(out, settled, records):
            events.note(
                f"what came later of {counted(len(again), 'clip')} (scene, take, circled, note) is recorded"
            )

    room.to(out, kept)
    if dropped := prepared.request.dropped:
        turns = [turn for turn in turns if turn.spec.job not in dropped]
        leave_out(prepared, dropped)
    needed = room_of_jobs((turn.spec for turn in turns), plan.clips, records)
    for text in (ahead or RoomAhead()).look(needed, remove=prepared.request.replaced == "remove"):
        events.warning(text)
    media = days[-1].media
    if media and (unnamed := sum(len(media[name]) for name in ("not_listed", "absent", "unreadable"))):
        events.warning(
            f"{counted(unnamed, 'original')} not in the list, not readable or missing from the media: `rushlight plan` names them"
            f" ({media_text(media)})"
        )
    return turns, settled, days[-1]


def _excerpts(clips: Iterable[PlannedClip], dues: Mapping[str, _Due]) -> list[str]:
    """Sentences on the parts of clips that are asked for alone, and what their files are called."""
    parts = [clip for clip in clips if clip.excerpt]
    found = []
    for clip in parts:
        paths = [path for output in dues[job_id(clip)].asked for path in paths_of(output)]
        found.append(
            f"{clip.called}: {counted(clip.count, 'frame')}, as {', '.join(paths)}; the whole clip is left as it is"
        )
    return found


def room_to_make(prepared: Prepared, out: Path) -> list[ToMake]:
    """What `render` into a folder would make, and what that stands in for. Of originals that the log knows nothing of no hash is taken."""
    records = latest(read_log(out).records)
    measured, found = measured_in(records.values()), list[ToMake]()
    for clip in beating(list(prepared.plan.clips)):
        record = records.get(job_id(clip))
        with suppress(Exception):  # `render` says of which clip it is a fault
            if record:
                outputs = _anew(out, record, _due(prepared, clip, out, record))
            else:
                fields = fields_of_clip(clip, prepared.recipe, prepared.request.title)
                known = Known(source="", fields=fields, fonts=prepared.fonts)
                made = output_specs(clip, prepared.recipe, known)
                outputs = tuple(o for o in made if is_asked(clip, o.output))
            if outputs:
                found.append(room_of_clip(clip, out, outputs, record, measured))
    return found


def _anew(out: Path, record: JobRecord, due: _Due) -> tuple[OutputSpec, ...]:
    """What of a clip is missing, but for what only moves to its new name."""
    moving = {each.entry.output for each in moves_of(record, due.outputs) if still_there(out, each.entry)}
    same = {entry.identity for entry in record.outputs if entry.output in moving}
    return tuple(output for output in due.missing if output.identity not in same)


def _dues(prepared: Prepared, out: Path, records: Mapping[str, JobRecord]) -> dict[str, _Due]:
    """What of each clip is to be made, by job. One that cannot be prepared is broken, and out of the plan."""
    plan, found = prepared.plan, {}
    for clip in beating(list(plan.clips)):
        try:
            found[job_id(clip)] = _due(prepared, clip, out, records.get(job_id(clip)))
        except Exception as error:
            _broken(plan, clip, error)
    return found


def _broken(plan: Plan, clip: PlannedClip, error: Exception) -> None:
    plan.broken.append((clip.row, own_fault(error, "prepared", clip.path)))
    plan.clips.remove(clip)


def _renamed(
    prepared: Prepared, out: Path, records: MutableMapping[str, JobRecord], dues: MutableMapping[str, _Due]
) -> list[str]:
    """Give delivered files the names that they are to have now, and put by what is in their way. `records` and `dues` are kept up, the
    log too. Gives sentences on it."""
    owners = {same_name(path): job for job, due in dues.items() for o in due.outputs for path in paths_of(o)}
    moves = {job: moves_of(records[job], due.asked) for job, due in dues.items() if job in records}
    keep, changed = prepared.request.replaced == "keep", dict[str, JobRecord]()
    for job, going in moves.items():
        if waits := in_the_way(records[job], going, owners):
            changed[job] = give_way(out, records[job], waits, keep=keep)
    going = [each for job, each_of in moves.items() for each in each_of]
    done = moved(out, going)
    for job in {each.job for each in done}:
        changed[job] = with_names(changed.get(job, records[job]), done)
    for job, record in changed.items():
        append_record(out, record)
        records[job] = record
    for clip in prepared.plan.clips:
        if job_id(clip) in changed:
            dues[job_id(clip)] = _due(prepared, clip, out, records[job_id(clip)])
    if not done:
        return []
    first = done[0]
    more = f", and {len(done) - 1} more" if len(done) > 1 else ""
    text = f"{counted(len(done), 'file')} moved to the names that they have now, not made again: {first.entry.path} is"
    return [f"{text} {first.path}{more}"]


def _turns(
    prepared: Prepared, out: Path, dues: Mapping[str, _Due]
) -> tuple[list[Turn], list[PlannedClip], list[SoundNews]]:
    """Turns of what is to be made; the clips of which everything is there; and what becomes of movies with other sound."""
    plan = prepared.plan
    turns: list[Turn] = []
    settled: list[PlannedClip] = []
    news: list[SoundNews] = []
    for clip in beating(list(plan.clips)):
        due = dues[job_id(clip)]
        try:
            found = _turns_of_clip(prepared, clip, out, due)
        except Exception as error:
            _broken(plan, clip, error)
            continue
        turns += found
        news.append(due.news)
        if not found:
            settled.append(clip)
    return turns, settled, news


def sound_news(prepared: Prepared, out: Path) -> list[str]:
    """Sentences on what `render` into a folder would do with movies that are there and get other sound."""
    records, news = latest(read_log(out).records), []
    for clip in beating(list(prepared.plan.clips)):
        record = records.get(job_id(clip))
        if record and not same_sound(record.sound, sound_record(clip)):
            with suppress(Exception):  # `render` says of which clip it is a fault
                news.append(_due(prepared, clip, out, record).news)
    return told(news)


@dataclass(frozen=True, kw_only=True)
class _Due:
    """What of a clip is to be made: its outputs, those of them that are asked for now, that are missing, and of which the sound alone
    is; `stale` are names of those that differ from what is there, and are not asked for."""

    outputs: tuple[OutputSpec, ...]
    asked: tuple[OutputSpec, ...]
    stale: tuple[str, ...]
    missing: tuple[OutputSpec, ...]
    news: SoundNews
    fields: Mapping[str, str]
    hashes: tuple[str, str]  # as logged, and as sampled


def _due(prepared: Prepared, clip: PlannedClip, out: Path, record: JobRecord | None) -> _Due:
    recipe = prepared.recipe
    sampled, logged = hashes_of(clip, record, full=prepared.request.hash_originals)
    fields = fields_of_clip(clip, recipe, prepared.request.title)
    known = Known(
        source=sampled,
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
    return _Due(
        outputs=outputs,
        asked=asked,
        stale=tuple(o.output for o, why in differing if o not in asked and why == "changed"),
        missing=missing,
        news=news,
        fields=fields,
        hashes=(logged, sampled),
    )


def _turns_of_clip(prepared: Prepared, clip: PlannedClip, out: Path, due: _Due) -> list[Turn]:
    """Turns of what of one clip is to be made, in order; none where everything is there. Sound alone goes first: it costs
    seconds, and needs the record as it is."""
    recipe = prepared.recipe
    if due.stale:
        text = f"left as it was before: {', '.join(due.stale)}; what is asked for now differs, and --output did not name it"
        clip = replace(clip, warnings=(*clip.warnings, text))
    alone = tuple(o for o in due.missing if o.output in due.news.alone)
    parts = in_turns(clip, (o for o in due.missing if o not in alone), recipe.first)
    if alone:
        parts = [(min((rank for rank, _ in parts), default=1) - 1, alone), *parts]
    made = [[o.output for o in part] for _, part in parts]
    kept = [o.output for o in due.outputs if o not in due.missing]
    turns = []
    for index, (rank, part) in enumerate(parts):
        spec = job_spec(
            clip,
            out=out,
            outputs=part,
            recipe=recipe,
            baked={},
            fields=due.fields,
            hashes=due.hashes,
            sound_alone=part is alone,
        )
        if clip.manifest and part is not alone:
            rows = [row.plain() for row in clip.manifest.rows]
            more = {"compare": rows, "deliver_differing": recipe.deliver_differing}
            spec = spec.model_copy(update={"record": {**spec.record, **more}})
        names = set() if part is alone else set(made[index])
        orders = TurnOrders(
            rank=rank,
            cost=cost_of_outputs(clip, [o for o in recipe.output if o.name in names]),
            kept_outputs=kept,
            earlier_outputs=[name for names in made[:index] for name in names],
            later_outputs=[name for names in made[index + 1 :] for name in names],
            replaced="remove" if prepared.request.replaced == "remove" else "keep",
        )
        turns.append(Turn(spec=spec, orders=orders, recipe=recipe.name))
    return turns


def baked(prepared: Prepared, out: Path, turns: list[Turn]) -> list[Turn]:
    """`bake_looks` of a plan's jobs; those that are left out are among what the plan calls broken, and in the log."""
    kept = prepared.request.origin
    try:
        return _with_looks(out, turns, kept)
    except (OSError, ResourceError):
        raise
    except Exception:  # of one look: which, is found by baking each for itself
        pass
    alike: dict[str, list[Turn]] = {}
    for turn in turns:
        looks = [look.identity() for look in (turn.spec.look, *turn.spec.looks.values())]
        alike.setdefault(digest_of(looks), []).append(turn)
    found: dict[int, Turn] = {}
    for group in alike.values():
        try:
            made = _with_looks(out, group, kept)
        except (OSError, ResourceError):
            raise
        except Exception as error:
            _failed(prepared, out, {turn.spec.job for turn in group}, error)
        else:
            found |= {id(turn): whole for turn, whole in zip(group, made, strict=True)}
    return [found[id(turn)] for turn in turns if id(turn) in found]


def _with_looks(out: Path, turns: list[Turn], kept: Path | None) -> list[Turn]:
    specs = bake_looks(out, [turn.spec for turn in turns], kept)
    return [replace(turn, spec=spec) for turn, spec in zip(turns, specs, strict=True)]


def _failed(prepared: Prepared, out: Path, jobs: set[str], error: Exception) -> None:
    plan = prepared.plan
    for clip in [c for c in plan.clips if job_id(c) in jobs]:
        fault = kept_fault(out, clip.row.clip, own_fault(error, "given its look"))
        append_record(out, failure_record(job_id(clip), clip.row.clip, "failed", str(fault)))
        plan.clips.remove(clip)
        plan.broken.append((clip.row, fault))
