"""A plan -> the jobs of what is missing, changed or damaged in an output folder, with the orders of their turns and their looks baked."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, MutableMapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.batch.due.due_outputs import Due, due_of
from rushlight.batch.due.mended_originals import spoilt_text
from rushlight.batch.due.parts_left import parts_left
from rushlight.batch.due.sound_alone import SoundNews, told
from rushlight.batch.error_log import kept_fault
from rushlight.batch.finish.other_names import give_way, in_the_way, moved, moves_of, with_names
from rushlight.batch.interrupts import Stop
from rushlight.batch.job_log import (
    append_record,
    failure_record,
    latest,
    read_log,
    read_records,
    refuse_newer,
)
from rushlight.batch.looks.baked_looks import bake_looks
from rushlight.batch.plan.deciding_list import picture_of
from rushlight.batch.plan.jobs import (
    in_turns,
    job_id,
    job_spec,
)
from rushlight.batch.plan.model import Plan, PlannedClip
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.batch.plan.reconcile_media import media_text
from rushlight.batch.queue.filling import Turn
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.records.merged import with_delivered
from rushlight.batch.records.queue_row import TurnOrders
from rushlight.batch.room.room_ahead import RoomAhead
from rushlight.batch.room.room_of_jobs import room_of_jobs
from rushlight.batch.run.disk_room import Room
from rushlight.batch.run.events import PLANNING, phase
from rushlight.batch.run.forecast import cost_of_outputs
from rushlight.batch.run.kept_inputs import keep_inputs
from rushlight.batch.run.request_accounts import account_for, leave_out, renew_rows
from rushlight.batch.what_is_there import paths_of
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import OptionError, ResourceError, from_os, no_room, own_fault
from rushlight.pipelines.heartbeat import beating
from rushlight.pipelines.inside_folder import refuse_links
from rushlight.pipelines.job.spec import digest_of
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
    in_hand: Mapping[str, Collection[str]] | None = None,
) -> tuple[list[Turn], list[PlannedClip], Day]:
    """Turns to be made in `out`, clips that are there, and the whole day of the folder; inputs and bad rows are kept.
    `renewed`: what was dropped from the queue is asked for again; `ahead` says what will not fit on its disk; `in_hand`: pictures that a
    run is making now, by job, so that what is there now of another one will not be."""
    room = room or Room(events, Stop(), patient=False)
    plan = prepared.plan
    refuse_links(out)
    log = read_log(out)
    refuse_newer(out, log.records)
    records = latest(log.records)
    dues = _dues(prepared, out, records)
    for text in room.to(out, lambda: _renamed(prepared, out, records, dues)):
        events.note(text)
    dues |= _after(plan.clips, dues, in_hand or {})
    turns, settled, news = _turns(prepared, out, dues)
    refuse_links(out, sorted({o.folder for turn in turns for o in turn.spec.outputs}))
    for refused in log.refused:
        events.warning(f"{refused.error}; {refused.name} counts as not made yet")
    for text in plan.warnings:
        events.warning(text)
    notes = (*told(news), *_excerpts(plan.clips, dues), *parts_left(turns, records))
    notes += (*_mended(plan.clips, dues), *_spoilt(settled, dues, records))
    for text in filter(None, notes):
        events.note(text)
    days: list[Day] = []

    def kept() -> None:
        make_folder(out)
        days.append(account_for(prepared, out, records, events, renewed=renewed))
        keep_inputs(prepared, out)
        ours = [clip for clip in settled if not prepared.request.left.get(job_id(clip))]
        if again := renew_rows(out, ours, records):
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


def _mended(clips: Iterable[PlannedClip], dues: Mapping[str, Due]) -> list[str]:
    """Sentences on clips whose original was copied again, and of which something is made for that."""
    found = [(clip, dues[job_id(clip)]) for clip in clips]
    return [
        f"{clip.called}: {due.mended.text}; made again"
        for clip, due in found
        if due.mended.text and due.missing
    ]


def _spoilt(
    settled: Iterable[PlannedClip], dues: Mapping[str, Due], records: Mapping[str, JobRecord]
) -> list[str]:
    """Sentences on clips that are there with damaged frames; none on those of which something waits to be asked for."""
    found = [(clip, dues[job_id(clip)]) for clip in settled]
    return [
        spoilt_text(clip.called, records.get(job_id(clip)), due.mended)
        for clip, due in found
        if not due.stale
    ]


def _excerpts(clips: Iterable[PlannedClip], dues: Mapping[str, Due]) -> list[str]:
    """Sentences on the parts of clips that are asked for alone, and what their files are called."""
    parts = [clip for clip in clips if clip.excerpt]
    found = []
    for clip in parts:
        paths = [path for output in dues[job_id(clip)].asked for path in paths_of(output)]
        found.append(
            f"{clip.called}: {counted(clip.count, 'frame')}, as {', '.join(paths)}; the whole clip is left as it is"
        )
    return found


def _dues(prepared: Prepared, out: Path, records: Mapping[str, JobRecord]) -> dict[str, Due]:
    """What of each clip is to be made, by job. One that cannot be prepared is broken, and out of the plan."""
    plan, found = prepared.plan, {}
    for clip in beating(list(plan.clips)):
        try:
            found[job_id(clip)] = due_of(prepared, clip, out, records.get(job_id(clip)))
        except Exception as error:
            _broken(plan, clip, error)
    return found


def _after(
    clips: Iterable[PlannedClip], dues: Mapping[str, Due], in_hand: Mapping[str, Collection[str]]
) -> dict[str, Due]:
    """What is to be made of clips of which another picture is being made now: all, once that is over."""
    others = {job_id(clip) for clip in clips if set(in_hand.get(job_id(clip), ())) - {picture_of(clip)}}
    return {job: replace(dues[job], missing=dues[job].asked) for job in others}


def _broken(plan: Plan, clip: PlannedClip, error: Exception) -> None:
    plan.broken.append((clip.row, own_fault(error, "prepared", clip.path)))
    plan.clips.remove(clip)


def _renamed(
    prepared: Prepared, out: Path, records: MutableMapping[str, JobRecord], dues: MutableMapping[str, Due]
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
            dues[job_id(clip)] = due_of(prepared, clip, out, records[job_id(clip)])
    if not done:
        return []
    first = done[0]
    more = f", and {len(done) - 1} more" if len(done) > 1 else ""
    text = f"{counted(len(done), 'file')} moved to the names that they have now, not made again: {first.entry.path} is"
    return [f"{text} {first.path}{more}"]


def _turns(
    prepared: Prepared, out: Path, dues: Mapping[str, Due]
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


def _turns_of_clip(prepared: Prepared, clip: PlannedClip, out: Path, due: Due) -> list[Turn]:
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
        more: dict[str, object] = {"mended": due.mended.plain()} if due.mended.runs else {}
        if clip.manifest and part is not alone:
            rows = [row.plain() for row in clip.manifest.rows]
            more |= {"compare": rows, "deliver_differing": recipe.deliver_differing}
        if more:
            spec = spec.model_copy(update={"record": {**spec.record, **more}})
        names = set() if part is alone else set(made[index])
        orders = TurnOrders(
            rank=rank,
            cost=cost_of_outputs(clip, [o for o in recipe.output if o.name in names]),
            kept_outputs=kept,
            earlier_outputs=[name for names in made[:index] for name in names],
            later_outputs=[name for names in made[index + 1 :] for name in names],
            replaced="remove" if prepared.request.replaced == "remove" else "keep",
            picture=picture_of(clip),
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
    plan, known = prepared.plan, latest(read_records(out))
    for clip in [c for c in plan.clips if job_id(c) in jobs]:
        fault = kept_fault(out, clip.row.clip, own_fault(error, "given its look"))
        record = failure_record(job_id(clip), clip.row.clip, "failed", str(fault))
        append_record(out, with_delivered(record, known.get(record.job)))
        plan.clips.remove(clip)
        plan.broken.append((clip.row, fault))
