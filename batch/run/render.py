"""One request from list to summary: read, plan, queue, run, report. The commands call this."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from contextlib import ExitStack, suppress
from functools import partial
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, Any

from rushlight.batch.disks import mount_of
from rushlight.batch.interrupts import Stopped, beside, heard, minded
from rushlight.batch.job_log import latest, read_log
from rushlight.batch.plan.growing_originals import Growth, growing_text
from rushlight.batch.plan.jobs import Known, in_turns, job_id, job_spec, output_specs, to_make
from rushlight.batch.plan.model import Plan, PlannedClip
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.batch.plan.reconcile_media import media_text
from rushlight.batch.plan.request import Request
from rushlight.batch.queue.locks import hold_folder
from rushlight.batch.queue.queue_rows import DamagedQueue, DamagedRow
from rushlight.batch.queue.store import QueuedJob, Store, open_store, queue_of
from rushlight.batch.run.disk_room import Room
from rushlight.batch.run.events import Event, Place, Stop, Summary, Terms
from rushlight.batch.run.forecast import Deadline, cost_of
from rushlight.batch.run.kept_inputs import keep_inputs
from rushlight.batch.run.look_baking import baked
from rushlight.batch.run.report_and_manifest import pages_are_current, write_pages
from rushlight.batch.run.request_accounts import account_for, sums_in
from rushlight.pipelines.errors import OptionError, QueueError, from_os, no_room, own_fault
from rushlight.pipelines.inside_folder import refuse_links, remove_tree, same_time
from rushlight.pipelines.job.spec import JobSpec, digest_of
from rushlight.pipelines.originals.probe import full_hash, sampled_hash
from rushlight.pipelines.recipe.model import Recipe

if TYPE_CHECKING:
    from rushlight.batch.farm.worker_options import Crew
    from rushlight.batch.plan.request_ledger import Day
    from rushlight.batch.run.progress import View

__all__ = [
    "clear_work",
    "given_up",
    "jobs_of",
    "nothing_made",
    "originals_of",
    "queued_jobs",
    "render",
]

DONE, PARTLY, WRONG, STOPPED = 0, 1, 2, 3


def fields_of_clip(clip: PlannedClip, recipe: Recipe) -> dict[str, str]:
    """What burn-in may show of a clip, beside the values that run."""
    row = clip.row
    cdl = clip.decision.cdl
    show = (
        f'"{clip.look.lut.name}"'
        if clip.look.lut
        else {"aces2": "ACES 2.0"}.get(clip.look.transform, clip.look.transform)
    )
    look = row["look"] or f"{(cdl.id or 'CDL ' + cdl.numbers()) + ' + ' if cdl else ''}{show}"
    camera = row["camera"] or (clip.reel[:1] if clip.reel[:1].isalpha() else "")
    return {
        **dict(row.cells),
        "clip": clip.stem,
        "reel": clip.reel,
        "scene": row["scene"],
        "take": row["take"],
        "camera": camera,
        "capture_rate": str(clip.capture_rate or ""),
        "date": row["date"] or row["day"],
        "look": look,
        "grade": cdl.numbers() if cdl else "no grade",
        "recipe": recipe.name,
        "note": row["note"],
    }


# --- render


def render(request: Request, *, crew: Crew, view: View, terms: Terms) -> int:
    """`rushlight render`: make what is missing, changed or damaged, and say how it went. Gives the exit code.

    Originals that grow are waited for, after all else is made.
    """
    assert request.out is not None
    out = request.out.absolute()
    view.words.to(out)
    try:
        prepared = prepare(request)
    except Stopped:
        return nothing_made(view, out)
    plan = prepared.plan
    if request.strict and plan.wrong:
        for _, error in plan.wrong:
            view.problem(str(error))
        view.refused(f"{len(plan.wrong)} row(s) are wrong and --strict was given: nothing was made")
        return WRONG
    night = _Night(request, out, crew, view, terms)
    night.room.to(out, lambda: make_folder(out))
    with night.room.to(out, lambda: hold_folder(out)), ExitStack() as closing:
        try:
            night.made_in_turns(prepared, closing)
        except Stopped:
            night.stopped("while it was prepared")
        with minded(night.stop):
            closing.close()  # the workers have ended
        if not night.made.left and not night.made.stopped:
            clear_work(out)
    made, plan = night.made, night.plan
    settled = [clip for clip in night.settled if clip.row.clip not in made.done]
    outcome = made if made.done or made.failed or made.set_aside or made.left or made.stopped else None
    view.summary(
        plan=plan,
        made=outcome,
        settled=settled,
        out=out.resolve(),
        seconds=made.seconds,
        folders=sums_in([out]),
    )
    if made.left or made.stopped:
        return STOPPED
    undone = len(plan.wrong) + len(plan.broken) + len(made.failed) + len(made.set_aside)
    return PARTLY if undone else DONE


class _Night:
    """One request made, in as many turns as its originals take to stand still."""

    def __init__(self, request: Request, out: Path, crew: Crew, view: View, terms: Terms) -> None:
        self.request, self.out, self.crew, self.view, self.terms = request, out, crew, view, terms
        self.stop, self.made, self.deadline = Stop(), Summary(), terms.deadline()
        self.room = Room(view, self.stop)
        self.plan, self.settled, self.left = Plan(), list[PlannedClip](), 0

    def made_in_turns(self, prepared: Prepared, closing: ExitStack) -> None:
        """Make what can be made, then what stands still by then."""
        growth, made, stop = Growth(), self.made, self.stop
        while True:
            self.plan, self.left = prepared.plan, len(prepared.plan.clips)
            waiting = growth.take_out(prepared.plan, originals_of(made.changed.values()))
            jobs, self.settled, _ = jobs_of(prepared, self.out, self.view, self.room)
            self.left = len({spec.job for spec, _ in jobs})
            made.changed.clear()
            if jobs:
                made.add(self.run(prepared, jobs, closing))
            self.left = 0
            self.pages(new=bool(jobs))
            waiting = sorted({*waiting, *originals_of(made.changed.values())})
            if not waiting or stop.asked:
                break
            self.view.event(Event(what="waiting", text=growing_text(waiting)))
            with minded(stop):
                if not growth.wait(waiting, lambda: stop.asked):
                    break
            prepared = prepare(self.request)
        made.left = made.left or len(waiting)
        if stop.since and not made.stopped:
            self.made.stopped = "by a signal"

    def run(self, prepared: Prepared, jobs: list[tuple[JobSpec, str]], closing: ExitStack) -> Summary:
        """The workers at work on these jobs."""
        return _run(
            prepared,
            self.out,
            jobs,
            self.crew,
            self.view,
            self.room,
            self.terms,
            self.deadline,
            closing,
        )

    def pages(self, *, new: bool) -> None:
        """The report, unless it is there and nothing is new."""
        if new or not pages_are_current(self.out):
            with minded(self.stop):
                write_pages(self.out, self.view, self.room)

    def stopped(self, where: str) -> None:
        """It was stopped where nothing was in hand."""
        self.made.stopped, self.made.left = where, self.left
        self.pages(new=True)


def nothing_made(view: View, out: Path) -> int:
    """It was stopped before it was known what is to be made. Gives the exit code."""
    view.summary(
        plan=Plan(), made=Summary(stopped="while the list was read"), settled=[], out=out.resolve(), seconds=0
    )
    return STOPPED


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
    prepared: Prepared, out: Path, view: View, room: Room | None = None, *, renewed: bool = True
) -> tuple[list[tuple[JobSpec, str]], list[PlannedClip], Day]:
    """What is to be made in `out`, each with the reason, clips that are there, and the whole day of the folder; inputs and bad
    rows are kept. `renewed`: what was dropped from the queue is asked for again."""
    room = room or Room(view, Stop(), patient=False)
    plan = prepared.plan
    refuse_links(out)
    log = read_log(out)
    records = latest(log.records)
    jobs, settled = _jobs(prepared, out, records)
    refuse_links(out, sorted({o.folder for spec, _ in jobs for o in spec.outputs}))
    for refused in log.refused:
        view.warning(f"{refused.error}; {refused.name} counts as not made yet")
    for text in plan.warnings:
        view.warning(text)
    days: list[Day] = []

    def kept() -> None:
        make_folder(out)
        days.append(account_for(prepared, out, records, view, renewed=renewed))
        keep_inputs(prepared, out)

    room.to(out, kept)
    media = days[-1].media
    if media and (unnamed := sum(len(media[name]) for name in ("not_listed", "absent", "unreadable"))):
        view.warning(
            f"{unnamed} original(s) are in no row, not readable or absent from the media; `rushlight plan` names them"
            f" ({media_text(media)})"
        )
    return jobs, settled, days[-1]


def _jobs(
    prepared: Prepared, out: Path, records: Mapping[str, dict[str, Any]]
) -> tuple[list[tuple[JobSpec, str]], list[PlannedClip]]:
    """Jobs for what is to be made, each with the reason; and the clips of which everything is there."""
    plan = prepared.plan
    jobs: list[tuple[JobSpec, str]] = []
    settled: list[PlannedClip] = []
    for clip in list(plan.clips):
        try:
            found = _jobs_of_clip(prepared, clip, out, records.get(job_id(clip)))
        except Exception as error:
            plan.broken.append((clip.row, own_fault(error, "prepared", clip.path)))
            plan.clips.remove(clip)
            continue
        jobs += found
        if not found:
            settled.append(clip)
    return jobs, settled


def _jobs_of_clip(
    prepared: Prepared, clip: PlannedClip, out: Path, record: Mapping[str, Any] | None
) -> list[tuple[JobSpec, str]]:
    """Jobs for what of one clip is to be made, each with the reason; none where everything is there."""
    recipe = prepared.recipe
    sampled, logged = _hashes(clip, record, prepared.request.hash_originals)
    fields = fields_of_clip(clip, recipe)
    outputs = output_specs(
        clip,
        recipe,
        Known(source=sampled, fields=fields, fonts=prepared.fonts, missing_frames=recipe.missing_frames),
    )
    missing = to_make(out, outputs, record)
    if record and record.get("status") != "done" and not missing:
        missing = tuple((o, "not finished") for o in outputs)
    why = ", ".join(sorted({why for _, why in missing}))
    turns = in_turns(clip, (o for o, _ in missing), recipe.first) if missing else []
    made = [[o.output for o in part] for _, part in turns]
    kept = [o.output for o in outputs if o.output not in {m.output for m, _ in missing}]
    jobs = []
    for index, (rank, part) in enumerate(turns):
        spec = job_spec(
            clip,
            out=out,
            outputs=part,
            recipe=recipe,
            baked={},
            fields=fields,
            hashes=(logged, sampled),
        )
        more = {
            "rank": rank,
            "cost": cost_of(
                clip.facts.width * clip.facts.height,
                (o.width * o.height for o in part if o.make == "movie"),
                clip.count,
            ),
            "kept_outputs": kept,
            "earlier_outputs": [name for names in made[:index] for name in names],
            "later_outputs": [name for names in made[index + 1 :] for name in names],
            "replaced": prepared.request.replaced,
        }
        jobs.append((spec.model_copy(update={"record": {**spec.record, **more}}), why))
    return jobs


def _hashes(clip: PlannedClip, record: Mapping[str, Any] | None, full: bool) -> tuple[str, str]:
    """Sampled hash, and the one to be logged; taken from the record where size and time are as they were."""
    source = (record or {}).get("source") or {}
    same = (source.get("path"), source.get("bytes")) == (
        str(clip.path.absolute()),
        clip.facts.bytes,
    ) and same_time(source.get("mtime_ns", 0), clip.facts.mtime_ns)
    sampled = source.get("sampled", "") if same else ""
    sampled = sampled or sampled_hash(clip.facts)
    if not full:
        return sampled, sampled
    logged = source.get("hash", "") if same else ""
    return sampled, logged if logged.startswith("xxh3_128:") else full_hash(clip.facts)


def _run(
    prepared: Prepared,
    out: Path,
    jobs: list[tuple[JobSpec, str]],
    crew: Crew,
    view: View,
    room: Room,
    terms: Terms,
    deadline: Deadline | None,
    closing: ExitStack,
) -> Summary:
    """Make these jobs. The workers end while the caller goes on; `closing` waits for them."""
    from rushlight.batch.run.runner import run

    unbaked, stop, queue = [spec for spec, _ in jobs], room.stop, queue_of(out)
    with room.to(queue, lambda: _own_queue(out, view)) as store:
        store.run_alone()
        count = crew.count(sum(len(s.segments) for s in unbaked))
        with beside("bake") as pool:
            bake = partial(baked, prepared, out, unbaked, view.baked)
            baking = pool.submit(bake)  # while the workers start
            farm = crew.farm(count, tell=view.warning, gone=given_up(stop, view))
            try:
                specs = room.to(out, bake, begun=baking)
                room.to(queue, lambda: _queue(store, out, specs))
                frames = sum(g.count for s in specs for g in s.segments)
                view.begin(clips=len({s.job for s in specs}), frames=frames, workers=farm.slots)
                with minded(stop):
                    return run(
                        store,
                        farm,
                        on_event=view.event,
                        stop=stop,
                        keep_free=terms.keep_free,
                        place=Place(terms.mode),
                        deadline=deadline,
                    )
            finally:
                now = stop.level > 0 or heard()
                ending = Thread(target=farm.close, kwargs={"now": now}, name="end of the farm")
                ending.start()
                closing.callback(ending.join)
                view.end()


def originals_of(jobs: Iterable[QueuedJob]) -> list[Path]:
    """Where the originals of jobs (with their payloads) lie."""
    return sorted({Path(job.payload["source"]["path"]) for job in jobs})


def clear_work(out: Path) -> None:
    """Remove an output folder's working files, and its queue where that lies elsewhere. The caller holds its lock."""
    remove_tree(out, ".work")
    queue = queue_of(out)
    if not queue.is_relative_to(out):
        for path in (queue, queue.with_name(f"{queue.name}.runner")):
            path.unlink(missing_ok=True)


def queued_jobs(out: Path, specs: list[JobSpec], *, suffix: str = "", priority: int = 0) -> list[QueuedJob]:
    """Jobs as rows of a queue; `suffix` keeps the jobs of several output folders apart."""
    mount = mount_of(out)

    def key(spec: JobSpec) -> str:
        recipe, rank = digest_of(spec.record["recipe"]["name"], 6), spec.record.get("rank", 0)
        return f"{spec.job}{suffix}/{recipe}" + (f"+{rank}" if rank else "")

    return [
        QueuedJob(
            key=key(spec),
            out=str(out),
            clip=spec.clip,
            state="queued",
            priority=priority,
            identity=digest_of([o.identity for o in spec.outputs]),
            frames=sum(segment.count for segment in spec.segments),
            added=float(index),
            cost=spec.record.get("cost", 0.0),
            rank=spec.record.get("rank", 0),
            mount=mount,
            payload=spec.model_dump(mode="json"),
        )
        for index, spec in enumerate(specs)
    ]


def _queue(store: Store, out: Path, specs: list[JobSpec]) -> None:
    """These jobs in the queue, and no others, nor others under their names: an output folder's queue may be anybody's."""
    queued = queued_jobs(out, specs)
    wanted = {job.key: job for job in queued}

    def ours(row: QueuedJob) -> bool:
        job = wanted.get(row.key)
        with suppress(DamagedRow):
            return (
                job is not None and row.out == job.out and store.payload(row.key, job.identity) == job.payload
            )
        return False

    running = [row for row in store.rows("running") if not ours(row)]  # others of that name are replaced
    store.drop([row.key for row in (*running, *store.rows()) if row.key not in wanted or row in running])
    store.drop([key for key, _ in store.damaged_rows()])
    store.add(queued)
    for row in store.rows():
        if not ours(row):
            text = "does not hold what was put into it: remove the folder .work, and what was unfinished is made anew"
            raise QueueError(text, file=str(store.path))


def _own_queue(out: Path, view: View) -> Store:
    """The queue of `render` into a folder, opened. One that is damaged is put aside: all it holds can be made again."""
    path = queue_of(out)
    try:
        with open_store(path, of=out) as store:
            store.check()
    except DamagedQueue as error:
        aside = path.with_name(f"{path.name}.damaged")
        path.replace(aside)
        path.with_name(f"{path.name}-journal").unlink(missing_ok=True)
        view.warning(f"{error}. It is put aside as {aside.name}: what was half made is made again")
    return open_store(path, of=out)


def given_up(stop: Any, view: View) -> Callable[[str], None]:
    """What is done where the farm as a whole is lost: stop now, so that what is left is taken up later."""

    def gone(text: str) -> None:
        if stop.level < 2:
            stop.level = 2
            view.problem(text)

    return gone
