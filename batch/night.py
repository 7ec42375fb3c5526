"""One request from list to summary: read, plan, queue, run, report. The commands call this."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import signal
import sys
import tempfile
from collections.abc import Iterable, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rushlight.batch.grades import NONE, GradeFiles, row_decision
from rushlight.batch.jobs import Known, job_id, job_spec, output_specs, to_make
from rushlight.batch.lists import ClipList, Row, read_csv
from rushlight.batch.names import MediaIndex, resolve_clip, safe_name
from rushlight.batch.plan import LutFiles, Plan, PlannedClip, Stated, plan_clip, stated_by
from rushlight.batch.records import append_record, latest, read_records
from rushlight.batch.request import Request, default_workers
from rushlight.pipelines.errors import InputError, ListError, OptionError, RushlightError, SourceError
from rushlight.pipelines.probe import Facts, full_hash, probe, sampled_hash
from rushlight.pipelines.recipe import MovieOutput, Recipe, load_recipe
from rushlight.pipelines.spec import JobSpec, digest_of
from rushlight.pipelines.timecode import FrameRate

if TYPE_CHECKING:
    from rushlight.batch.progress import View

__all__ = ["Prepared", "prepare", "render"]

DONE, PARTLY, WRONG, STOPPED = 0, 1, 2, 3
MAX_LIST = 100_000_000  # bytes


@dataclass(frozen=True, kw_only=True)
class Prepared:
    """A request, read and planned."""

    request: Request
    recipe: Recipe
    recipe_text: str
    clip_list: ClipList
    list_text: str
    plan: Plan
    luts: LutFiles


def read_list(path: Path) -> tuple[ClipList, str]:
    """A clip list from a file. ListError where it is unreadable as a whole."""
    try:
        size = path.stat().st_size
        if size > MAX_LIST:
            raise ListError(f"is {size} bytes long: no clip list", file=str(path))
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ListError(f"is not UTF-8 text (byte {error.start})", file=str(path)) from None
    except OSError as error:
        raise ListError(f"cannot be read: {error.strerror}", file=str(path)) from None
    return read_csv(text, file=str(path)), text


def prepare(request: Request) -> Prepared:
    """Read everything a request names and plan every row. InputError where the request is wrong as a whole."""
    recipe, recipe_text, recipe_file = load_recipe(request.recipe)
    clip_list, list_text = read_list(request.clip_list)
    _check_recipe(recipe, clip_list, recipe_file or request.recipe)
    if request.rate:
        FrameRate.parse(request.rate)
    if request.encoding:
        from rushlight.pipelines.encodings import find_encoding

        find_encoding(request.encoding)
    luts, files = LutFiles(), GradeFiles()
    lut_base = Path(recipe_file).parent if recipe_file else Path()
    if recipe.look.show_lut:
        luts.read(lut_base / recipe.look.show_lut)
    media = MediaIndex(request.media)
    options = Stated(
        who="--encoding/--levels", encoding=request.encoding, levels=request.levels, rate=request.rate
    )
    plan = Plan(warnings=list(clip_list.warnings))
    facts_of: dict[tuple[Path, str], Facts | RushlightError] = {}
    for row in selected(clip_list, request.only):
        if row.problem:
            plan.wrong.append((row, row.problem))
            continue
        try:
            path = resolve_clip(row.clip, request.clip_list.parent, media)
        except RushlightError as error:
            plan.wrong.append(
                (
                    row,
                    error.at(file=row.file, line=row.line, key="clip")
                    if isinstance(error, ListError)
                    else _missing(row, error),
                )
            )
            continue
        try:
            stated = stated_by(row, recipe, {}, options)
            rate = next((FrameRate.parse(s.rate) for s in stated if s.rate), None)
            facts = _facts(path, rate, facts_of)
        except SourceError as error:
            plan.broken.append((row, error))
            continue
        except InputError as error:
            plan.wrong.append((row, error.at(file=row.file, line=row.line)))
            continue
        try:
            decision = row_decision(row, files) or NONE
            plan.clips.append(
                plan_clip(
                    row,
                    path,
                    facts,
                    recipe=recipe,
                    stated=stated,
                    decision=decision,
                    luts=luts,
                    lut_base=lut_base,
                )
            )
        except SourceError as error:
            plan.broken.append((row, error))
        except InputError as error:
            plan.wrong.append((row, error.at(file=row.file, line=row.line)))
    plan.clips = _untwinned(plan.clips, plan)
    return Prepared(
        request=request,
        recipe=recipe,
        recipe_text=recipe_text,
        clip_list=clip_list,
        list_text=list_text,
        plan=plan,
        luts=luts,
    )


def _missing(row: Row, error: RushlightError) -> ListError:
    return ListError(f"{row.clip!r}: {error.text}", file=row.file, line=row.line, key="clip")


def _check_recipe(recipe: Recipe, clip_list: ClipList, file: str) -> None:
    from rushlight.pipelines.errors import RecipeError
    from rushlight.pipelines.slate import check_fields

    for index, output in enumerate(recipe.output):
        for column in output.only:
            if column.lower() not in clip_list.columns:
                raise RecipeError(
                    f"the list has no column {column!r} to choose clips by",
                    file=file,
                    key=f"output[{index}].only",
                )
        if isinstance(output, MovieOutput) and output.burnin:
            try:
                check_fields(output.burnin, clip_list.columns, key=f"output[{index}].burnin.text")
            except RecipeError as error:
                raise error.at(file=file) from None


def selected(clip_list: ClipList, only: Iterable[str]) -> list[Row]:
    """The rows that every COLUMN=VALUE takes. OptionError for a column the list does not have."""
    rows = list(clip_list.rows)
    for choice in only:
        column, equals, value = choice.partition("=")
        column = column.strip().lower()
        if not equals or column not in clip_list.columns:
            raise OptionError(
                f"--only {choice!r}: takes COLUMN=VALUE; the list has {', '.join(clip_list.columns)}"
            )
        rows = [r for r in rows if r[column].lower() == value.strip().lower()]
    return rows


def _facts(
    path: Path, rate: FrameRate | None, known: dict[tuple[Path, str], Facts | RushlightError]
) -> Facts:
    key = (path, str(rate or ""))
    if key not in known:
        try:
            known[key] = probe(path, rate=rate)
        except SourceError as error:
            known[key] = error
    found = known[key]
    if isinstance(found, RushlightError):
        raise found
    return found


def _untwinned(clips: list[PlannedClip], plan: Plan) -> list[PlannedClip]:
    """Every clip a place of its own: the same clip, range and grade twice is made once; twins go to a folder each."""
    distinct: dict[str, PlannedClip] = {}
    for clip in clips:
        key = digest_of([str(clip.path), clip.first, clip.count, clip.look.identity()])
        if key in distinct:
            plan.warnings.append(
                f"{clip.row.place}: {clip.row.clip} stands in the list twice alike; it is made once"
            )
        else:
            distinct[key] = clip
    by_stem: dict[str, list[PlannedClip]] = {}
    for clip in distinct.values():
        by_stem.setdefault(safe_name(clip.stem).casefold(), []).append(clip)
    found: list[PlannedClip] = []
    for clip in distinct.values():
        twins = by_stem[safe_name(clip.stem).casefold()]
        if len(twins) == 1:
            found.append(clip)
            continue
        for name in (
            lambda c: c.reel,
            lambda c: c.path.parent.name,
            lambda c: f"{c.reel or c.path.parent.name}-{str(c.timecode).replace(':', '.').replace(';', '.')}",
            lambda c: f"row-{c.row.line}",
        ):
            names = [safe_name(name(t)) for t in twins if name(t)]
            if len({n.casefold() for n in names}) == len(twins):
                break
        found.append(replace(clip, folder=safe_name(name(clip))))
    return found


# --- burn-in values


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
        "date": row["day"],
        "look": look,
        "grade": cdl.numbers() if cdl else "no grade",
        "recipe": recipe.name,
        "note": row["note"],
    }


# --- render


def render(
    request: Request, *, workers: int | None, scheduler: str, view: View, keep_free: int = 500_000_000
) -> int:
    """`rushlight render`: make what is missing, changed or damaged, and say how it went. Gives the exit code."""
    from rushlight.batch.runner import Stop

    assert request.out is not None
    out = request.out.absolute()
    prepared = prepare(request)
    plan = prepared.plan
    if request.strict and plan.wrong:
        for _, error in plan.wrong:
            view.problem(str(error))
        view.refused(f"{len(plan.wrong)} row(s) are wrong and --strict was given: nothing was made")
        return WRONG
    records = latest(read_records(out))
    jobs, settled = _jobs(prepared, out, records)
    for text in plan.warnings:
        view.warning(text)
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OptionError(f"cannot be made: {error.strerror}", file=str(out)) from None
    _log_undone(plan, out, records)
    _keep_inputs(prepared, out)
    stop = Stop()
    outcome = _run(prepared, out, jobs, workers, scheduler, view, stop, keep_free) if jobs else None
    if not jobs:
        shutil.rmtree(out / ".work", ignore_errors=True)
    if jobs or not (out / "report" / "index.html").is_file():
        _report(out, view)
    view.summary(
        plan=plan,
        made=outcome,
        settled=settled,
        out=out,
        seconds=outcome.seconds if outcome else 0.0,
    )
    if outcome and outcome.left:
        return STOPPED
    undone = (
        len(plan.wrong) + len(plan.broken) + (len(outcome.failed) + len(outcome.set_aside) if outcome else 0)
    )
    return PARTLY if undone else DONE


def _jobs(
    prepared: Prepared, out: Path, records: Mapping[str, dict[str, Any]]
) -> tuple[list[tuple[JobSpec, str]], list[PlannedClip]]:
    """Jobs for what is to be made, each with the reason; and the clips of which everything is there."""
    recipe = prepared.recipe
    fonts = _fonts(recipe)
    jobs: list[tuple[JobSpec, str]] = []
    settled: list[PlannedClip] = []
    for clip in list(prepared.plan.clips):
        job = job_id(clip)
        record = records.get(job)
        try:
            sampled, logged = _hashes(clip, record, prepared.request.hash_originals)
        except SourceError as error:
            prepared.plan.broken.append((clip.row, error))
            prepared.plan.clips.remove(clip)
            continue
        fields = fields_of_clip(clip, recipe)
        outputs = output_specs(clip, recipe, Known(source=sampled, fields=fields, fonts=fonts))
        missing = to_make(out, outputs, record)
        if record and record.get("status") != "done" and not missing:
            missing = tuple((o, "not finished") for o in outputs)
        if not missing:
            settled.append(clip)
            continue
        spec = job_spec(
            clip,
            out=out,
            outputs=tuple(o for o, _ in missing),
            recipe=recipe,
            baked={},
            fields=fields,
            hashes=(logged, sampled),
        )
        keep = [o.output for o in outputs if o.output not in {m.output for m, _ in missing}]
        spec = spec.model_copy(update={"record": {**spec.record, "kept_outputs": keep}})
        jobs.append((spec, ", ".join(sorted({why for _, why in missing}))))
    return jobs, settled


def _hashes(clip: PlannedClip, record: Mapping[str, Any] | None, full: bool) -> tuple[str, str]:
    """Sampled hash, and the one to be logged; taken from the record where size and time are as they were."""
    source = (record or {}).get("source") or {}
    same = (source.get("path"), source.get("bytes"), source.get("mtime_ns")) == (
        str(clip.path.absolute()),
        clip.facts.bytes,
        clip.facts.mtime_ns,
    )
    sampled = source.get("sampled", "") if same else ""
    sampled = sampled or sampled_hash(clip.facts)
    if not full:
        return sampled, sampled
    logged = source.get("hash", "") if same else ""
    return sampled, logged if logged.startswith("xxh3_128:") else full_hash(clip.facts)


def _fonts(recipe: Recipe) -> dict[str, str]:
    """Given font files of a recipe -> the name they are kept under."""
    from rushlight.pipelines.text import font_file

    found = {}
    for output in recipe.output:
        if isinstance(output, MovieOutput) and output.burnin and output.burnin.font:
            path = font_file(output.burnin.font)
            digest = hashlib.sha256(path.read_bytes()).hexdigest()[:40]
            found[output.burnin.font] = f"{digest}{path.suffix}"
    return found


def _log_undone(plan: Plan, out: Path, records: Mapping[str, dict[str, Any]]) -> None:
    """A record for each row set aside and each original that does not open, unless the log says so already."""
    from rushlight.batch.runner import failure_record

    for status, pairs in (("set aside", plan.wrong), ("failed", plan.broken)):
        for row, error in pairs:
            job = f"row-{digest_of([row.clip, row.line], 12)}"
            before = records.get(job)
            if before and before["status"] == status and before.get("error") == str(error):
                continue
            record = failure_record(job, row.clip, status, str(error))
            append_record(out, record | {"row": dict(row.cells)})
    for job, record in records.items():
        if job.startswith("row-") and record["status"] != "done" and record["status"] != "withdrawn":
            listed = {f"row-{digest_of([r.clip, r.line], 12)}" for r, _ in (*plan.wrong, *plan.broken)}
            if job not in listed:
                append_record(out, {**record, "status": "withdrawn", "error": ""})


def _keep_inputs(prepared: Prepared, out: Path) -> None:
    """List, recipe, LUTs and fonts by digest under log/inputs: what is needed to make any of it again."""
    folder = out / "log" / "inputs"
    texts = {
        f"{_text_digest(prepared.list_text)}.list{prepared.request.clip_list.suffix or '.csv'}": prepared.list_text,
        f"{_text_digest(prepared.recipe_text)}.recipe.toml": prepared.recipe_text,
        **{f"{digest.partition(':')[2]}.cube": text for digest, text in prepared.luts.texts.items()},
    }
    for name, text in texts.items():
        _keep(folder / name, text.encode("utf-8", "surrogateescape"))
    for font, name in _fonts(prepared.recipe).items():
        from rushlight.pipelines.text import font_file

        _keep(folder / name, font_file(font).read_bytes())


def _text_digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest()[:40]


def _keep(path: Path, data: bytes) -> None:
    if path.is_file():
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    temporary.write_bytes(data)
    os.replace(temporary, path)


def _run(
    prepared: Prepared,
    out: Path,
    jobs: list[tuple[JobSpec, str]],
    workers: int | None,
    scheduler: str,
    view: View,
    stop: Any,
    keep_free: int,
) -> Any:
    from rushlight.batch.farm import DaskFarm
    from rushlight.batch.runner import run
    from rushlight.batch.store import QueuedJob, open_store

    specs = _baked(prepared, out, [spec for spec, _ in jobs], view)
    with open_store(out / ".work" / "queue.sqlite") as store:
        store.run_alone()
        queued = [
            QueuedJob(
                key=spec.job,
                out=str(out),
                clip=spec.clip,
                state="queued",
                priority=0,
                identity=digest_of([o.identity for o in spec.outputs]),
                frames=spec.count,
                added=float(index),
                payload=spec.model_dump(mode="json"),
            )
            for index, spec in enumerate(specs)
        ]
        wanted = {job.key for job in queued}
        store.drop(row.key for row in store.rows() if row.key not in wanted)
        store.add(queued)
        count = min(workers or default_workers(), sum(len(s.segments) for s in specs))
        view.begin(clips=len(specs), frames=sum(g.count for s in specs for g in s.segments), workers=count)
        with (
            _interruptible(stop, view),
            tempfile.TemporaryDirectory(prefix="rushlight-", ignore_cleanup_errors=True) as scratch,
        ):
            farm = DaskFarm(workers=count, address=scheduler, scratch=Path(scratch))
            try:
                summary = run(store, farm, on_event=view.event, stop=stop, keep_free=keep_free)
            finally:
                farm.close(now=stop.level > 1)
                view.end()
    if not summary.left:
        shutil.rmtree(out / ".work", ignore_errors=True)
    return summary


@contextmanager
def _interruptible(stop: Any, view: View) -> Any:
    """Ctrl-C once finishes what is in hand, twice stops now."""

    def interrupted(signum: int, frame: Any) -> None:
        stop.level += 1
        view.interrupted(stop.level)

    try:
        before = {s: signal.signal(s, interrupted) for s in (signal.SIGINT, signal.SIGTERM)}
    except ValueError:  # not the main thread
        yield
        return
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _baked(prepared: Prepared, out: Path, specs: list[JobSpec], view: View) -> list[JobSpec]:
    """Bake every look that a movie asks for, once; the jobs name the files."""
    from rushlight.pipelines.bake import bake
    from rushlight.pipelines.resolve import build_look

    folder = out / "log" / "inputs" / "looks"
    known: dict[str, str] = {}
    found = []
    for spec in specs:
        baked: dict[str, str] = {}
        for state in sorted({o.state for o in spec.outputs if o.make == "movie" and o.state != "log"}):
            key = digest_of([spec.look.identity(), state])
            if key not in known:
                look = build_look(spec.look, out)
                name = bake(look, state, spec.look.size, cache=out / ".work" / "lattices").save(folder)
                known[key] = f"log/inputs/looks/{name}"
                view.baked(len(known))
            baked[state] = known[key]
        found.append(spec.model_copy(update={"baked": baked}))
    return found


def _report(out: Path, view: View) -> None:
    """Pages from the log. A fault of theirs is said, and costs no delivery."""
    from rushlight.batch.report import write_report

    try:
        view.say(f"report: {write_report(out)}")
    except (RushlightError, OSError) as error:
        view.warning(f"the report was not made: {error}")


def show_plan(request: Request, *, as_json: bool) -> int:
    """`rushlight plan`: what would be made, each clip's grade and why, and everything that is wrong."""
    from rushlight.batch.planpage import plan_document, print_plan

    prepared = prepare(request)
    document = plan_document(prepared)
    if as_json:
        json.dump(document, sys.stdout, indent=2, ensure_ascii=False)
        sys.stdout.write("\n")
    else:
        print_plan(document)
    return WRONG if prepared.plan.wrong or prepared.plan.broken else DONE
