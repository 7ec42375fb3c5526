"""Join segments, read back, and only then the final name: the last step of one job, run by a worker.

Nothing here decides what is to be made. `finish_job` gives the job record that the runner logs; a file has
its final name only once it is complete, checked and on the disk.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from rushlight.batch.queue.finish_token import may_finish
from rushlight.batch.records.job_record import SCHEMA
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.errors import DeliveryError, SourceError, from_os
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.inside_folder import (
    fresh,
    is_file,
    move,
    path_of,
    read_bytes,
    stat_of,
    unlink,
    write,
)
from rushlight.pipelines.job.from_spec import (
    build_look,
    movie_format,
    movie_tags,
    opened_facts,
    segment_name,
    side_name,
    still_name,
    work_name,
)
from rushlight.pipelines.job.spec import JobSpec, MovieSpec, StillsSpec
from rushlight.pipelines.measure.checksum import colour_digest, file_hash, picture_digest
from rushlight.pipelines.measure.original_baseline import original_of
from rushlight.pipelines.measure.out_of_range import range_warnings
from rushlight.pipelines.originals.probe import Facts
from rushlight.pipelines.outputs.hdr_metadata import HdrMetadata, hdr_metadata, states_light
from rushlight.pipelines.outputs.join_segments import join
from rushlight.pipelines.outputs.readback import Delivered, check, expected, read_back
from rushlight.pipelines.outputs.sound_mixdown import sound_under
from rushlight.pipelines.outputs.stills import read_still
from rushlight.pipelines.render.slate_head import Head, write_head

__all__ = ["finish_job", "place"]


def place(out: Path, temporary: str, final: str) -> None:
    """Give a complete, checked file of an output folder its final name there, durably."""
    try:
        move(out, temporary, final, sync=True)
    except OSError as error:
        raise from_os(error, out / final) from None


def finish_job(
    payload: Mapping[str, Any], segments: Sequence[Mapping[str, Any]], token: str
) -> dict[str, Any]:
    """Everything a job still owes once its segments are there. Gives its record; raises DeliveryError where a
    file is not what it should be. Running it twice gives the same files."""
    job = JobSpec.model_validate(payload)
    facts = opened_facts(job.source)
    sides = [json.loads(read_bytes(Path(job.out), side_name(job, segment))) for segment in job.segments]
    lost = [d for side in sides for d in side["damage"] if d.get("lost")]
    if len(lost) >= job.count:
        raise SourceError(f"none of its pictures decodes: {lost[0]['what']}", file=job.source.path)
    outputs: list[dict[str, Any]] = []
    warnings: list[str] = []
    for output in job.outputs:
        if isinstance(output, MovieSpec):
            entry, said = _movie(job, output, facts, sides, token)
            outputs.append(entry)
            warnings += said
        else:
            outputs += _stills(job, output, sides, token)
    return _record(job, facts, sides, outputs, warnings)


# --- movies


def _movie(
    job: JobSpec, output: MovieSpec, facts: Facts, sides: list[dict[str, Any]], token: str
) -> tuple[dict[str, Any], list[str]]:
    timecode = Timecode.parse(job.timecode, FrameRate.parse(job.rate)) + -output.card
    movie = movie_format(job, output, movie_tags(job, output, facts))
    out, final = Path(job.out), f"{output.folder}/{output.file}"
    making = f"{work_name(job)}/{output.identity}/.{token}.{output.file}.part"
    drawing = f"{work_name(job)}/{output.identity}/.{token}.card.part"
    paths = [_segment(out, segment_name(job, output, s.index)) for s in job.segments]
    counts = [s.count for s in job.segments]
    sound, said = sound_under(
        facts,
        first=job.first,
        count=job.count,
        rate=movie.rate.fraction,
        sound=output.sound,
        channels=output.channels,
        container=output.container,
        retimed=job.retimed,
        card=output.card,
    )
    head = None
    try:
        temporary = fresh(out, making)
        if output.card:
            card = fresh(out, drawing)
            head = write_head(card, job, output, facts)
            paths, counts = [card, *paths], [output.card, *counts]
        hdr = _light(job, output, movie.tags.transfer, sides, head)
        metadata = _metadata(job, output)
        join(
            paths,
            counts,
            temporary,
            movie,
            timecode=timecode,
            reel=job.reel,
            metadata=metadata,
            sound=sound,
            hdr=hdr,
        )
        delivered = read_back(temporary)
        wanted = expected(movie, frames=sum(counts), timecode=timecode, reel=job.reel, sound=sound, hdr=hdr)
        faults = check(delivered, wanted)
        if faults:
            raise DeliveryError("was made, but " + "; ".join(faults), file=str(out / final))
        digest = file_hash(temporary)
        may_finish(out, job.job, token)
        place(out, making, final)
    finally:
        unlink(out, making)
        unlink(out, drawing)
    entry = _movie_entry(job, output, delivered, timecode, final, digest, sides)
    return entry, [*(f"{output.output}: {text}" for text in said), *(head.warnings if head else ())]


def _metadata(job: JobSpec, output: MovieSpec) -> dict[str, str]:
    """Free metadata of a movie: MXF has no room for it, MP4 holds the reel in it."""
    metadata = {} if output.container == "mxf" else dict(job.metadata)
    if output.container == "mp4" and job.reel:
        metadata["reel"] = job.reel
    return metadata


def _segment(out: Path, name: str) -> Path:
    try:
        return path_of(out, name)
    except OSError as error:
        raise from_os(error, out / name) from None


def _light(
    job: JobSpec, output: MovieSpec, transfer: int, sides: list[dict[str, Any]], head: Head | None
) -> HdrMetadata | None:
    """What a PQ movie says of its light, from every picture of every segment and the card, burn-in and all."""
    if not states_light(output.codec, transfer):
        return None
    light = [pair for side in sides for pair in side["movies"][output.output]["light"]]
    if len(light) != job.count:
        raise DeliveryError(f"light was measured of {len(light)} pictures instead of {job.count}")
    if head and head.light:
        light.append(head.light)
    return hdr_metadata(find_display(job.look.display), light)


def _movie_entry(
    job: JobSpec,
    output: MovieSpec,
    delivered: Delivered,
    timecode: Timecode,
    final: str,
    digest: str,
    sides: list[dict[str, Any]],
) -> dict[str, Any]:
    info = stat_of(Path(job.out), final)
    picture = next(p for p in sides[0]["pictures"] if output.output in p["outputs"])
    primaries, transfer, matrix, levels = delivered.tags
    inside = dict(zip(("primaries", "transfer", "matrix", "levels"), delivered.picture_tags, strict=True))
    return {
        "output": output.output,
        "kind": "movie",
        "path": final,
        "state": output.state,
        "identity": output.identity,
        "frames": delivered.frames,
        "card": output.card,
        "first_timecode": str(timecode),
        "bytes": info.st_size,
        "mtime_ns": info.st_mtime_ns,
        "hash": digest,
        "codec": output.codec,
        "container": output.container,
        "pixel_format": delivered.pixel_format,
        "width": delivered.width,
        "height": delivered.height,
        "rate": delivered.rate,
        "tags": {"primaries": primaries, "transfer": transfer, "matrix": matrix, "levels": levels},
        "picture_tags": inside,
        "light": dict(zip(("max_cll", "max_fall"), delivered.light, strict=True))
        if delivered.light
        else None,
        "reel": delivered.reel,
        "sound": [{"codec": c, "channels": n, "sample_rate": r} for c, n, r in delivered.sound],
        "picture": picture["picture"],
        "covered": sides[0]["movies"][output.output]["covered"],
        "display": job.look.display if output.state != "log" else None,
    }


# --- stills


def _stills(
    job: JobSpec, output: StillsSpec, sides: list[dict[str, Any]], token: str
) -> list[dict[str, Any]]:
    rate = FrameRate.parse(job.rate)
    start = Timecode.parse(job.timecode, rate)
    made = {e["file"]: e for side in sides for e in side["stills"].get(output.output, [])}
    out, entries = Path(job.out), []
    for still in output.stills:
        temporary, final = still_name(job, output, still.file), f"{output.folder}/{still.file}"
        source = temporary if is_file(out, temporary) else final
        if still.file not in made or not is_file(out, source):
            raise DeliveryError("was not made", file=str(out / final))
        height, width, _ = read_still(path_of(out, source)).shape
        if (width, height) != (output.width, output.height):
            raise DeliveryError(
                f"is {width}x{height} instead of {output.width}x{output.height}", file=str(out / final)
            )
        digest = file_hash(path_of(out, source))
        if source == temporary:
            may_finish(out, job.job, token)
            place(out, temporary, final)
        info = stat_of(out, final)
        entries.append(
            {
                "output": output.output,
                "kind": "still",
                "still_kind": still.kind,
                "path": final,
                "state": output.state,
                "identity": output.identity,
                "frame": still.frame,
                "frames": 1,
                "first_timecode": str(start + (still.frame - job.first)),
                "bytes": info.st_size,
                "mtime_ns": info.st_mtime_ns,
                "hash": digest,
                "width": width,
                "height": height,
                "picture": made[still.file]["picture"],
                "digest": made[still.file]["digest"],
                "tiles": made[still.file].get("tiles"),
                "covered": [],
                "display": job.look.display if output.state != "log" and still.kind != "exr" else None,
            }
        )
    return entries


# --- the record


def _record(
    job: JobSpec,
    facts: Facts,
    sides: list[dict[str, Any]],
    outputs: list[dict[str, Any]],
    said: Sequence[str] = (),
) -> dict[str, Any]:
    look = build_look(job.look, Path(job.out))
    pictures = _pictures(job, sides)
    counts = {"over": 0, "under": 0, "outside": 0, "pixels": 0}
    for side in sides:
        for seen in (*(picture["counts"] for picture in side["pictures"]), side.get("seen", {})):
            for name in counts:
                counts[name] += seen.get(name, 0)
    warnings = [*job.record.get("warnings", ()), *(w for side in sides for w in side["warnings"]), *said]
    damage = [d for side in sides for d in side["damage"]]
    if damage:
        places = ", ".join(d["timecode"] for d in damage[:6]) + (" …" if len(damage) > 6 else "")
        warnings.append(f"{len(damage)} damaged frame(s) were delivered: {places}")
    pushed = {n: sum(side.get("pushed", {}).get(n, 0) for side in sides) for n in ("over", "under", "pixels")}
    warnings += range_warnings(look, counts, pushed)
    tiles = {
        name: [t for side in sides for t in side["movies"].get(name, {}).get("tiles", [])]
        for name in sorted({n for side in sides for n in side["movies"]})
    }
    rate = FrameRate.parse(job.rate)
    start = Timecode.parse(job.timecode, rate)
    return {
        "schema": SCHEMA,
        "job": job.job,
        "clip": job.clip,
        "status": "done",
        "reel": job.reel,
        "rate": job.rate,
        "capture_rate": job.record.get("capture_rate"),
        "frames": job.count,
        "first_frame": job.first,
        "first_timecode": job.timecode,
        "last_timecode": str(start + (job.count - 1)),
        "source": {
            "path": job.source.path,
            "bytes": facts.bytes,
            "mtime_ns": facts.mtime_ns,
            "hash": job.source.hash,
            "sampled": job.record.get("sampled_hash", ""),
            "codec": facts.codec,
            "width": facts.width,
            "height": facts.height,
            "pixel_format": facts.stored_format,
            "frames": facts.frames,
        },
        "signal": job.record.get("signal", {}),
        "look": {
            "layers": look.layers(),
            "digest": look.digest(),
            "description": look.describe(),
            "grade": job.record.get("grade"),
        },
        "recipe": job.record.get("recipe", {}),
        "row": job.record.get("row", {}),
        "outputs": outputs,
        "colour": {
            "digest": colour_digest(
                {o: p["digest"] for p in pictures for o in p["outputs"]}
                | {e["path"]: e["digest"] for e in outputs if e["kind"] == "still"}
            ),
            "pictures": pictures,
            "patches": job.patches,
            "tiles": tiles,
            "sensitivity": next((side["sensitivity"] for side in sides if side["sensitivity"]), {}),
            "faults": [f for side in sides for f in side.get("faults", ())],
        },
        "original": original_of([side["original"] for side in sides if side.get("original")], job.no_light),
        "counts": counts | {"pushed": pushed},
        "warnings": list(dict.fromkeys(warnings)),
        "damage": damage,
    }


def _pictures(job: JobSpec, sides: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """One entry a distinct picture, its frames' digests in order put together; the frames go to a side file."""
    found = []
    lines: list[str] = []
    for index, first in enumerate(sides[0]["pictures"]):
        digests = [d for side in sides for d in side["pictures"][index]["digests"]]
        grids = [g for side in sides for g in side["pictures"][index]["grids"]]
        name = {"state": first["state"], "raster": first["raster"], "pixel_format": first["pixel_format"]}
        found.append(
            {**name, "digest": picture_digest(digests, **name), "outputs": first["outputs"], "index": index}
        )
        for number, (digest, grid) in enumerate(zip(digests, grids, strict=True), job.first):
            lines.append(json.dumps({"picture": index, "frame": number, "digest": digest, "luma": grid}))
    if lines:
        identities = "-".join(sorted({o.identity[:6] for o in job.outputs}))[:80]
        keep = f"log/frames/{job.job}-{identities}.jsonl"
        write(Path(job.out), keep, ("\n".join(lines) + "\n").encode())
        for entry in found:
            entry["frames"] = keep
    return found
