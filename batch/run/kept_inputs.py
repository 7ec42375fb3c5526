"""Inputs that an output folder keeps under `log/inputs`, by digest: enough to make any part of it again.

List, recipe, defaults, decisions, show LUTs, fonts, and the requests that name them.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

from rushlight.batch.check.clip_originals import AUTO
from rushlight.batch.job_log import add_line
from rushlight.batch.json_lines import parse_lines
from rushlight.batch.plan.prepare import Prepared
from rushlight.batch.plan.request import Request
from rushlight.batch.records.request import REQUEST, KeptRequest
from rushlight.pipelines.errors import OptionError, OutsideError, RushlightError, from_os
from rushlight.pipelines.inside_folder import Inside, append, file_name, read_bytes, write_unless_same
from rushlight.pipelines.job.spec import digest_of
from rushlight.pipelines.luts.lut_file import is_lut_file, parse_lut
from rushlight.pipelines.visible_text import json_text

__all__ = ["keep_inputs", "kept_requests", "read_requests"]

FOLDER = "log/inputs"
REQUESTS = f"{FOLDER}/requests.jsonl"


def keep_inputs(prepared: Prepared, out: Path) -> None:
    """All that a request was made of, by digest under log/inputs, and the request itself: enough to make it again."""
    names = {key: _name(prepared, key, data) for key, data in prepared.inputs.items()}
    for name, data in prepared.luts.kept.items():
        write_unless_same(out, f"{FOLDER}/{name}", data)
    for key, name in names.items():
        if key not in prepared.luts.places:
            write_unless_same(out, f"{FOLDER}/{name}", prepared.inputs[key])
    request = prepared.request
    said = KeptRequest(
        schema=REQUEST,
        list=str(request.clip_list.absolute()),
        recipe=str(Path(prepared.recipe_file).absolute()) if prepared.recipe_file else request.recipe,
        grades=[str(path) for path in prepared.grade_files],
        defaults=str(request.defaults.absolute()) if request.defaults else "",
        media=[str(path.absolute()) for path in request.media],
        encoding=request.encoding,
        levels=request.levels,
        rate=request.rate,
        only=list(request.only),
        files=names,
    )
    if request.title:
        said = said.model_copy(update={"title": request.title})
    if request.away is not None:
        said = said.model_copy(update={"away": [str(path.absolute()) for path in request.away]})
    if request.tables:
        said = said.model_copy(update={"tables": [str(path.absolute()) for path in request.tables]})
    if request.sound:
        said = said.model_copy(update={"sound": [str(path.absolute()) for path in request.sound]})
    if request.manifest:
        named = [m if m == AUTO else str(Path(m).absolute()) for m in request.manifest]
        said = said.model_copy(update={"manifest": named})
    for name in ("outputs", "ranges", "stills"):
        if given := getattr(request, name):
            said = said.model_copy(update={name: list(given)})
    plain = said.plain()
    if {_told_by(known): known.plain() for known in read_requests(out)}.get(_told_by(said)) != plain:
        line = json_text(plain, separators=(",", ":"))
        with append(out, REQUESTS) as stream:
            add_line(stream, line.encode())


def read_requests(out: Path, tell: Callable[[str], None] = lambda text: None) -> list[KeptRequest]:
    """The requests that an output folder was made by, in order. Lines that do not read are told and left out, but for a
    last one that is torn."""
    path = out / REQUESTS
    try:
        data = read_bytes(out, REQUESTS)
    except FileNotFoundError:
        return []
    except OSError as error:
        raise from_os(error, path, reading=True) from None
    found, refused = parse_lines(data, _checked, file=str(path))
    for each in refused:
        if not each.mild:
            tell(f"{each.error}; that request is left out")
    return [said for _, said in found]


def kept_requests(out: Path, tell: Callable[[str], None] = lambda text: None) -> list[Request]:
    """Kept requests, to be made again: of each list, recipe and choice the latest request, all it names read
    from what is kept.

    Media and sound folders that are not there any more are left out. A request is told and left out where what was kept of it is
    gone or changed. OptionError where nothing is left.
    """
    latest: dict[str, KeptRequest] = {}
    newest: dict[
        tuple[str, ...], KeptRequest
    ] = {}  # whole clips or parts of them, by list, recipe and choice
    outputs: dict[str, list[str]] = {}  # all that were ever asked for; none where that is all of the recipe's
    for said in read_requests(out, tell):
        key = _told_by(said)
        known = outputs.get(key, said.outputs)
        outputs[key] = [*dict.fromkeys([*known, *said.outputs])] if known and said.outputs else []
        latest[key] = newest[said.list_, said.recipe, *said.only] = said
    for key, said in list(latest.items()):
        if said.ranges or said.stills:  # of clips as they are now
            parts = {"outputs": said.outputs, "ranges": said.ranges, "stills": said.stills}
            latest[key] = said = newest[said.list_, said.recipe, *said.only].model_copy(update=parts)
        faults = [text for name in said.files.values() if (text := _changed(out, name))]
        if faults:
            tell(f"{faults[0]}; the list {said.list_} cannot be made again from here; give the list itself")
            del latest[key]
    if not latest:
        text = "has no log/inputs/requests.jsonl that can be made again (rushlight 0.1.0 kept none); give the list itself with --out"
        raise OptionError(text, file=str(out))
    return [
        Request(
            clip_list=Path(said.list_),
            recipe=said.recipe,
            grades=tuple(Path(path) for path in said.grades),
            defaults=Path(said.defaults) if said.defaults else None,
            media=tuple(Path(path) for path in said.media if Path(path).is_dir()),
            sound=tuple(Path(path) for path in said.sound if Path(path).is_dir()),
            encoding=said.encoding,
            levels=said.levels,
            rate=said.rate,
            only=tuple(said.only),
            outputs=tuple(outputs[key]),
            ranges=tuple(said.ranges),
            stills=tuple(said.stills),
            manifest=tuple(m for m in said.manifest if m == AUTO),  # of others the user names the path anew
            notes=tuple(
                f"originals were held against {m} then; name it with --manifest to have them held against it again"
                for m in said.manifest
                if m != AUTO
            ),
            title=said.title,
            away=_away(said),
            tables=tuple(Path(path) for path in said.tables),
            origin=out,
            kept={key: Inside(out.absolute(), f"{FOLDER}/{name}") for key, name in said.files.items()},
        )
        for key, said in latest.items()
    ]


def _told_by(said: KeptRequest) -> str:
    """What a request is told by: the latest of these holds, be it what an earlier one was."""
    return digest_of([said.list_, said.recipe, said.only, said.ranges, said.stills])


def _away(said: KeptRequest) -> tuple[Path, ...] | None:
    """Folders of a watched day that are not to be looked into, with media that is gone since."""
    if said.away is None:
        return None
    return tuple(Path(path) for path in (*said.away, *(m for m in said.media if not Path(m).is_dir())))


def _changed(out: Path, name: str) -> str:
    """The fault of a kept file, whose name is the digest of its bytes or, of a LUT, of its numbers; else
    empty."""
    path = out / FOLDER / name
    stem = name.partition(".")[0]
    try:
        data = read_bytes(out, f"{FOLDER}/{name}")
        if len(stem) == 64 and is_lut_file(name):
            found = parse_lut(data, file=name).digest().partition(":")[2]
        else:
            found = hashlib.sha256(data).hexdigest()[: len(stem)]
    except OSError as error:
        return f"{path}: cannot be read: {error.strerror or error}"
    except (RushlightError, ValueError) as error:
        return f"{path}: has changed since it was kept: {error}"
    return "" if found == stem else f"{path}: has changed since it was kept"


def _checked(value: object) -> KeptRequest:
    """A request as it stands. OptionError with its key for what is no request, or one of anything but files that log/inputs keeps."""
    said = KeptRequest.read(value)
    for given, name in said.files.items():
        try:
            file_name(name)
        except OutsideError as error:
            raise OutsideError(f"{error.text}", key=f"files.{given}") from None
    named = [("list", said.list_), ("recipe", said.recipe), ("defaults", said.defaults)]
    named += [("grades", path) for path in said.grades] + [("tables", path) for path in said.tables]
    for key, given in named:
        kinds = (given, f"folder {given}", f"recipe {given}")
        if given and not any(kind in said.files for kind in kinds):
            text = f"{given!r} is not among what log/inputs keeps of it"
            raise OutsideError(text, key=key)
    return said


def _name(prepared: Prepared, key: str, data: bytes) -> str:
    """Name that an input is kept under: its digest, and what it is."""
    if key in prepared.luts.places:
        return prepared.luts.places[key]
    kind, _, given = key.partition(" ")
    if kind == "font" and given in prepared.fonts:
        return prepared.fonts[given]
    digest = hashlib.sha256(data).hexdigest()[:40]
    recipe = prepared.recipe_file and key == str(Path(prepared.recipe_file).absolute())
    if kind == "recipe" or recipe:
        return f"{digest}.recipe.toml"
    if kind == "folder":
        return f"{digest}.list.csv"
    suffix = Path(key).suffix.lower()
    if key == str(prepared.request.clip_list.absolute()):
        return f"{digest}.list{suffix}"
    if prepared.request.defaults and key == str(prepared.request.defaults.absolute()):
        return f"{digest}.defaults.toml"
    return f"{digest}{suffix}"
