"""The kinds of input: which files are mutated, of what form they are, and the commands that are given them."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any

__all__ = ["KINDS", "Kind"]

Call = list[object]


@dataclass(frozen=True, kw_only=True)
class Kind:
    """`seeds`: patterns of files in `work`; `calls(home, path, rng)`: what is run when `path` is mutated; `read`:
    the parser by itself."""

    name: str
    group: str
    form: str
    seeds: tuple[str, ...]
    calls: Callable[[Path, Path, Random], list[Call]]
    read: Callable[[Path], Any] | None = None
    good: str = ""  # a clip that a plan as JSON must still hold

    def chosen(self, work: Path, rng: Random) -> Path:
        """The file that is mutated."""
        found = sorted(p for pattern in self.seeds for p in work.glob(pattern) if p.is_file())
        assert found, self.seeds
        return rng.choice(found)

    def faults(self, call: Call, code: int, said: str) -> str:
        """What is wrong with the other clips of a plan; empty where nothing is."""
        if not self.good or "--json" not in call or call[0] != "plan":
            return ""
        try:
            planned = {clip["clip"] for clip in json.loads(said[said.index("{") :])["clips"]}
        except (ValueError, KeyError, IndexError) as error:
            return f"no plan as JSON: {error!r}"
        return (
            ""
            if any(self.good in clip for clip in planned)
            else f"{self.good} is not planned: {sorted(planned)}"
        )


# --- what is asked of a list and all that goes with it


def asked(home: Path, clip_list: str, rng: Random, *options: object, recipe: str = "two.toml") -> list[Call]:
    """One or two commands about a list of `day`, with those options."""
    day = home / "work" / "day"
    given: Call = [day / clip_list, "--recipe", day / recipe, "--media", home / "media", *options]
    plan: Call = ["plan", *given, "--json"]
    other: list[list[Call]] = [
        [plan],
        [["plan", *given]],
        [["plan", *given, "--write", day / "written.csv"]],
        [["look", *given, "--json"]],
        [["grades", *given, "--to", day / "handed over"]],
        [["render", *given, "--out", day / "out"]],
        [
            ["queue", "add", *given, "--out", day / "out", "--queue", day / "q.sqlite"],
            ["queue", "list", "--queue", day / "q.sqlite"],
        ],
    ]
    (chosen,) = rng.choices(other, (6, 3, 1, 2, 1, 1.5, 0.5))
    if chosen[0][0] == "look":
        chosen[0].insert(2, rng.choice(("A001C001.mov", "A001C002", "A001C001")))
    return chosen


def of_list(home: Path, path: Path, rng: Random) -> list[Call]:
    return asked(home, path.name, rng, "--encoding", "LogC3")


def of_grades(home: Path, path: Path, rng: Random) -> list[Call]:
    if path.name == "three.ccc" and rng.random() < 0.5:
        return asked(home, "day.csv", rng)
    return asked(home, "bare.csv", rng, "--grades", path if rng.random() < 0.8 else path.parent)


def of_lut(home: Path, path: Path, rng: Random) -> list[Call]:
    return asked(home, "day.csv", rng)


def of_other_lut(home: Path, path: Path, rng: Random) -> list[Call]:
    return asked(home, f"{path.suffix[1:]}.csv", rng)


def of_fdl(home: Path, path: Path, rng: Random) -> list[Call]:
    return asked(home, "day.csv", rng, recipe="framed.toml")


def of_recipe(home: Path, path: Path, rng: Random) -> list[Call]:
    return asked(home, "day.csv", rng, recipe=path.name)


def of_defaults(home: Path, path: Path, rng: Random) -> list[Call]:
    return asked(home, "bare.csv", rng, "--defaults", path)


def of_day(home: Path, path: Path, rng: Random) -> list[Call]:
    return [["plan", home / "work" / "day" / "shooting.toml", "--json"]]


def of_manifest(home: Path, path: Path, rng: Random) -> list[Call]:
    """A mutated manifest or chain of a card: by itself, and once the chain has been brought up to it."""
    from manifests import chain

    if path.suffix == ".mhl" and rng.random() < 0.6:
        chain(path.parent)
    root = home / "work" / "card"
    named: Call = ["check", root, "--manifest", rng.choice((path, path.parent, path.parent.parent))]
    found: list[Call] = [["check", root], ["check", root, "--json"], named, ["check", path.parent.parent]]
    return [rng.choices(found, (4, 3, 3, 1))[0]]


# --- originals


def of_original(home: Path, path: Path, rng: Random) -> list[Call]:
    """A mutated original, with a good one in the list: as a row of it, in a folder as list, or in the media beside it."""
    shots, day = home / "work" / "shots", home / "work" / "day"
    clip = path.name if path.parent == shots else path.parent.name
    (shots / "day.csv").write_text(f"clip,encoding,levels\nA001C001.mov,LogC3,full\n{clip},LogC3,full\n")
    (shots / "good.csv").write_text("clip,encoding,levels\nA001C001.mov,LogC3,full\n")
    options: Call = ["--recipe", day / "log.toml", "--encoding", "LogC3", "--levels", "full", "--rate", "24"]
    listed: Call = [shots / "day.csv", *options, "--media", home / "media"]
    beside: Call = [shots / "good.csv", *options, "--media", home / "media", "--media", path.parent]
    plan: Call = ["plan", *listed, "--json"]
    found: list[list[Call]] = [
        [plan],
        [["plan", *beside, "--json"]],
        [["plan", path.parent, *options]],
        [plan, ["render", *listed, "--out", home / "work" / "made"]],
        [["render", *listed, "--out", home / "work" / "made"], ["verify", home / "work" / "made"]],
    ]
    return rng.choices(found, (4, 2, 1, 2, 0.5))[0]


# --- production sound


def of_sound(home: Path, path: Path, rng: Random) -> list[Call]:
    """A mutated sound file, or the iXML of one, beside two good originals that it overlaps."""
    from recordings import bext, chunk, counting, write_wav

    day, takes = home / "work" / "day", home / "work" / "takes"
    if path.suffix == ".ixml":
        before = [chunk(b"bext", bext(172_800_000)), chunk(b"iXML", path.read_bytes())]
        write_wav(takes / "T1.wav", 6000, fill=counting(2), channels=2, before=before)
    options: Call = ["--recipe", day / "log.toml", "--levels", "full", "--media", home / "media"]
    given: Call = [day / "bare.csv", *options, "--sound", takes]
    plan: Call = ["plan", *given, "--json"]
    out = home / "work" / "made"
    found: list[list[Call]] = [
        [plan],
        [["plan", *given]],
        [plan, ["render", *given, "--out", out]],
        [["render", *given, "--out", out], ["verify", out]],
    ]
    return rng.choices(found, (4, 3, 2, 0.5))[0]


# --- an output folder


def of_folder(home: Path, path: Path, rng: Random) -> list[Call]:
    """A mutated file of an output folder: measured, reported, rendered into again, made again from."""
    night, media = home / "work" / "night", home / "media"
    out, again = night / "out", night / "again"
    given: Call = [night / "day" / "day.csv", "--recipe", night / "day" / "two.toml", "--media", media]
    given += ["--defaults", night / "day" / "defaults.toml"]
    if rng.random() < 0.4:  # something is missing, so that it is made
        made = sorted(p for p in out.glob("*/A001C00*.*") if p != path)
        rng.choice(made).unlink()
    if rng.random() < 0.3 and path.name != "index.html":
        (out / "report" / "index.html").unlink()
    only: Call = ["--only", "clip=A001C001.mov"]
    found: list[list[Call]] = [
        [["verify", out]],
        [["verify", out, "--no-hash", "--json"], ["report", out]],
        [["report", out]],
        [["render", *given, "--out", out]],
        [["render", "--from", out]],
        [["render", "--from", out, "--out", again, *only, "--media", media]],
        [["plan", *given, "--out", out]],
        [["handover", out, "--name", "producer", "--to", night / "to", "--copy"]],
    ]
    return rng.choices(found, (3, 2, 3, 2, 2, 1, 0.3, 1.5))[0]


def of_handovers(home: Path, path: Path, rng: Random) -> list[Call]:
    """A mutated record of what was handed over: handed over once more, whole or what is told to have changed."""
    night = home / "work" / "night"
    given: Call = ["handover", night / "out", "--name", "editor", "--to", night / "to"]
    if rng.random() < 0.4:
        sorted((night / "out").glob("*/A001C00*.*"))[rng.randrange(4)].unlink()
    return [[*given, *rng.choice(([], ["--all"], ["--copy", "--json"], ["--outputs", "viewing"]))]]


def of_delivery(home: Path, path: Path, rng: Random) -> list[Call]:
    """A mutated file of a closed delivery: checked, measured, made again from, and the next one closed beside it."""
    night = home / "work" / "night"
    folder, again = night / "to" / "editor_001", night / "again"
    found: list[list[Call]] = [
        [["check", folder]],
        [["check", folder, "--json"], ["verify", folder, "--no-hash"]],
        [["handover", night / "out", "--name", "editor", "--to", night / "to", "--all"]],
        [
            [
                "render",
                "--from",
                folder,
                "--out",
                again,
                "--only",
                "clip=A001C001.mov",
                "--media",
                home / "media",
            ]
        ],
        [["report", folder]],
    ]
    return rng.choices(found, (3, 2, 2, 1, 1))[0]


def of_inputs(home: Path, path: Path, rng: Random) -> list[Call]:
    """A mutated file of what is kept of inputs: made again from, in place or elsewhere."""
    out = home / "work" / "night" / "out"
    sorted(out.glob("editorial/*"))[rng.randrange(2)].unlink()
    elsewhere: Call = ["render", "--from", out, "--out", home / "work" / "night" / "again"]
    return [rng.choice((["render", "--from", out], elsewhere, [*elsewhere, "--only", "clip=A001C001.mov"]))]


def of_queue(home: Path, path: Path, rng: Random) -> list[Call]:
    """A mutated queue: listed, changed and run. It is run only where bytes that were flipped left its paths alone."""
    queue: Call = ["--queue", path]
    listing: Call = rng.choice((["queue", "list", *queue], ["queue", "list", "--json", *queue]))
    whole = (home / "whole" / "night" / "queue.sqlite").read_bytes().count(str(home).encode())
    safe = path.read_bytes().count(str(home).encode()) >= whole - 1
    what: Call = ["queue", rng.choice(("hold", "release", "retry", "drop")), "--all", *queue]
    running: Call = ["queue", "run", *queue] if safe else listing
    return rng.choice(([listing], [listing], [what, listing], [running, listing], [running]))


# --- parsers by themselves


def _text(path: Path) -> str:
    from rushlight.pipelines.errors import InputError
    from rushlight.pipelines.text_files import read_text

    return read_text(path, InputError, errors="replace")


def _list(path: Path) -> Any:
    from rushlight.batch.lists.clip_list import read_csv

    return read_csv(_text(path), file=path.name)


def _edl(path: Path) -> Any:
    from rushlight.batch.lists.edl import read_edl

    return read_edl(_text(path), file=path.name)


def _otio(path: Path) -> Any:
    from rushlight.batch.lists.otio import read_timeline

    return read_timeline(_text(path), file=path.name)


def _cdl(path: Path) -> Any:
    from rushlight.pipelines.colour.cdl import parse_cdl

    return parse_cdl(path.read_bytes(), file=path.name)


def _amf(path: Path) -> Any:
    from rushlight.pipelines.colour.aces_metadata import parse_aces_metadata

    return parse_aces_metadata(path.read_bytes(), file=path.name)


def _fdl(path: Path) -> Any:
    from rushlight.batch.framing.read_fdl import parse_fdl

    return parse_fdl(_text(path), file=path.name)


def _cube(path: Path) -> Any:
    from rushlight.pipelines.luts.cube_lut import parse_cube

    return parse_cube(_text(path), file=path.name)


def _lut(path: Path) -> Any:
    from rushlight.pipelines.luts.lut_file import parse_lut

    return parse_lut(path.read_bytes(), file=path.name).apply([[0.2, 0.4, 0.6], [float("nan"), -1.0, 2.0]])


def _recipe(path: Path) -> Any:
    from rushlight.pipelines.recipe.read_recipe import parse_recipe

    return parse_recipe(_text(path), file=path.name)


def _defaults(path: Path) -> Any:
    from rushlight.pipelines.recipe.read_recipe import parse_defaults

    return parse_defaults(_text(path), file=path.name)


def _day(path: Path) -> Any:
    from rushlight.pipelines.recipe.read_recipe import parse_day

    return parse_day(_text(path), file=path.name)


def _scenes(path: Path) -> Any:
    from rushlight.batch.scenes.scene_tables import read_scene_tables

    return read_scene_tables([path]).of("A001C001")


def _changes(path: Path) -> Any:
    from rushlight.batch.decisions.grade_change_files import record_of

    return record_of(path)


def _manifest(path: Path) -> Any:
    from rushlight.pipelines.manifests.chain import parse_chain
    from rushlight.pipelines.manifests.hash_list import parse_hash_list

    return (parse_hash_list if path.suffix == ".mhl" else parse_chain)(path.read_bytes(), file=path.name)


def _original(path: Path) -> Any:
    from rushlight.pipelines.formats.timecode import FrameRate
    from rushlight.pipelines.originals.probe import probe

    movie = path.parent.name == "shots"
    return probe(path if movie else path.parent, rate=None if movie else FrameRate.parse(24))


def _sound(path: Path) -> Any:
    from rushlight.pipelines.sound.ixml import parse_ixml
    from rushlight.pipelines.sound.read_recording import read_recording
    from rushlight.pipelines.sound.take import Take
    from rushlight.pipelines.sound.take_samples import read_take

    if path.suffix == ".ixml":
        return parse_ixml(path.read_bytes())
    take = Take(parts=((read_recording(path),),))
    return sum(block.shape[1] for block in read_take(take, -100, 10_000))


def _records(path: Path) -> Any:
    from logged import latest, read_records

    return latest(read_records(path.parent.parent))


def _requests(path: Path) -> Any:
    from rushlight.batch.run.kept_inputs import kept_requests

    return kept_requests(path.parent.parent.parent)


OUT = "night/out"
KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(name="csv", group="texts", form="table", seeds=("day/day.csv",), calls=of_list, read=_list),
        Kind(name="edl", group="texts", form="text", seeds=("day/day.edl",), calls=of_list, read=_edl),
        Kind(name="otio", group="texts", form="json", seeds=("day/day.otio",), calls=of_list, read=_otio),
        Kind(name="cc", group="texts", form="xml", seeds=("day/grades/*.cc",), calls=of_grades, read=_cdl),
        Kind(name="ccc", group="texts", form="xml", seeds=("day/grades/*.ccc",), calls=of_grades, read=_cdl),
        Kind(name="cdl", group="texts", form="xml", seeds=("day/grades/*.cdl",), calls=of_grades, read=_cdl),
        Kind(name="amf", group="texts", form="xml", seeds=("day/aces/*.amf",), calls=of_grades, read=_amf),
        Kind(name="grades", group="texts", form="table", seeds=("day/grades/five.csv",), calls=of_grades),
        Kind(name="cube", group="texts", form="text", seeds=("day/small.cube",), calls=of_lut, read=_cube),
        Kind(name="clf", group="texts", form="xml", seeds=("day/small.clf",), calls=of_other_lut, read=_lut),
        Kind(name="csp", group="texts", form="text", seeds=("day/small.csp",), calls=of_other_lut, read=_lut),
        Kind(name="fdl", group="texts", form="json", seeds=("day/small.fdl",), calls=of_fdl, read=_fdl),
        Kind(
            name="recipe", group="texts", form="toml", seeds=("day/two.toml",), calls=of_recipe, read=_recipe
        ),
        Kind(
            name="defaults",
            group="texts",
            form="toml",
            seeds=("day/defaults.toml",),
            calls=of_defaults,
            read=_defaults,
        ),
        Kind(name="day", group="texts", form="toml", seeds=("day/shooting.toml",), calls=of_day, read=_day),
        Kind(
            name="scenes",
            group="texts",
            form="table",
            seeds=("day/scenes.csv",),
            calls=of_day,
            read=_scenes,
            good="A001C002",  # a table costs no clip
        ),
        Kind(
            name="changes",
            group="texts",
            form="table",
            seeds=("day/changes.csv", "day/clocked.csv"),
            calls=of_grades,
            read=_changes,
        ),
        Kind(
            name="changes-edl",
            group="texts",
            form="text",
            seeds=("day/changes.edl",),
            calls=of_grades,
            read=_changes,
        ),
        *(
            Kind(
                name=name,
                group="texts",
                form="xml",
                seeds=(f"card/ascmhl/{seed}", f"card/Inner/ascmhl/{seed}"),
                calls=of_manifest,
                read=_manifest,
            )
            for name, seed in (("hash-list", "*.mhl"), ("hash-chain", "*.xml"))
        ),
        Kind(
            name="mov",
            group="originals",
            form="binary",
            seeds=("shots/*.mov",),
            calls=of_original,
            read=_original,
            good="A001C001",
        ),
        Kind(
            name="mp4",
            group="originals",
            form="binary",
            seeds=("shots/*.mp4",),
            calls=of_original,
            read=_original,
            good="A001C001",
        ),
        Kind(
            name="mxf",
            group="originals",
            form="binary",
            seeds=("shots/*.mxf",),
            calls=of_original,
            read=_original,
            good="A001C001",
        ),
        Kind(
            name="dpx",
            group="originals",
            form="binary",
            seeds=("shots/*/*.dpx",),
            calls=of_original,
            read=_original,
            good="A001C001",
        ),
        Kind(
            name="exr",
            group="originals",
            form="binary",
            seeds=("shots/*/*.exr",),
            calls=of_original,
            read=_original,
            good="A001C001",
        ),
        Kind(
            name="tiff",
            group="originals",
            form="binary",
            seeds=("shots/*/*.tif",),
            calls=of_original,
            read=_original,
            good="A001C001",
        ),
        Kind(
            name="png",
            group="originals",
            form="binary",
            seeds=("shots/*/*.png",),
            calls=of_original,
            read=_original,
            good="A001C001",
        ),
        *(
            Kind(
                name=name,
                group="sound",
                form=form,
                seeds=(f"takes/{seed}",),
                calls=of_sound,
                read=_sound,
                good="A001C001",
            )
            for name, form, seed in (
                ("wav", "binary", "T1.wav"),
                ("rf64", "binary", "T2.wav"),
                ("ixml", "xml", "T1.ixml"),
            )
        ),
        Kind(
            name="log",
            group="folders",
            form="json lines",
            seeds=(f"{OUT}/log/jobs.jsonl",),
            calls=of_folder,
            read=_records,
        ),
        Kind(
            name="frames",
            group="folders",
            form="json lines",
            seeds=(f"{OUT}/log/frames/*.jsonl",),
            calls=of_folder,
        ),
        Kind(name="kept-json", group="folders", form="json", seeds=(f"{OUT}/log/*.json",), calls=of_folder),
        Kind(
            name="requests",
            group="folders",
            form="json lines",
            seeds=(f"{OUT}/log/inputs/requests.jsonl",),
            calls=of_inputs,
            read=_requests,
        ),
        Kind(name="inputs", group="folders", form="text", seeds=(f"{OUT}/log/inputs/*.*",), calls=of_inputs),
        Kind(
            name="looks",
            group="folders",
            form="binary",
            seeds=(f"{OUT}/log/inputs/looks/*",),
            calls=of_inputs,
        ),
        Kind(name="mhl", group="folders", form="xml", seeds=(f"{OUT}/ascmhl/*.mhl",), calls=of_folder),
        Kind(name="mhl-chain", group="folders", form="xml", seeds=(f"{OUT}/ascmhl/*.xml",), calls=of_folder),
        Kind(
            name="report",
            group="folders",
            form="text",
            seeds=(f"{OUT}/report/*.*", f"{OUT}/report/pictures/*"),
            calls=of_folder,
        ),
        Kind(
            name="movies",
            group="folders",
            form="binary",
            seeds=(f"{OUT}/editorial/*", f"{OUT}/viewing/*"),
            calls=of_folder,
        ),
        Kind(
            name="handovers",
            group="folders",
            form="json lines",
            seeds=(f"{OUT}/log/handovers.jsonl",),
            calls=of_handovers,
        ),
        Kind(
            name="delivery",
            group="folders",
            form="json",
            seeds=("night/to/editor_001/handover.json",),
            calls=of_delivery,
        ),
        Kind(name="stills", group="folders", form="binary", seeds=(f"{OUT}/stills/*",), calls=of_folder),
        Kind(name="queue", group="folders", form="sqlite", seeds=("night/queue.sqlite",), calls=of_queue),
    )
}
