"""Relink simulated: movies of five cameras whose clip names and timecodes are alike, paired by their tables and by what the
MXF files say of themselves."""

from __future__ import annotations

import csv
from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import opentimelineio as otio
import pytest

from logged import append_record
from movies import segments_of, tags_for
from mxf_structure import structure
from recorded import movie, recorded
from rushlight.batch.job_log import read_log
from rushlight.batch.report.clip_tables import write_clip_tables
from rushlight.pipelines.formats.codecs import codec
from rushlight.pipelines.formats.movie_format import MovieFormat
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.outputs.join_segments import join
from rushlight.pipelines.outputs.mxf_packages import mxf_metadata, set_umids, umids_of
from rushlight.pipelines.outputs.readback import read_back

RATE = FrameRate.parse(25)
CAMERAS = "ABCDE"


@dataclass(frozen=True, kw_only=True)
class Said:
    """What one source says of a file: an editor's project has this, and looks for the file."""

    file: str
    name: str
    reel: str
    start: str
    umid: str


def delivered(out: Path, count: int, *, umids: bool = True) -> set[str]:
    """Movies of `count` clips in folders by reel; gives their paths from the folder of the output. Clip n of each camera has
    the name and timecode of clip n of the others."""
    which = codec("dnxhr-lb")
    format_ = MovieFormat(
        codec=which, container="mxf", width=256, height=144, rate=RATE, tags=tags_for(which)
    )
    (pictures,) = segments_of(out, which, RATE, [1])
    files = set()
    for n in range(count):
        camera, clip = CAMERAS[n % 5], n // 5
        reel, name = f"{camera}{1 + clip // 12:03}", f"C{1 + clip:03}"
        timecode = Timecode.parse("10:00:00:00", RATE) + 50 * (clip % 12)  # again in the next reel
        file = f"{reel}/{name}.mxf"
        path = out / "relink" / file
        path.parent.mkdir(parents=True, exist_ok=True)
        row = {"scene": str(1 + clip % 7), "camera": camera}
        join([pictures], [1], path, format_, timecode=timecode, reel=reel, metadata=mxf_metadata(name, row))
        if umids:
            set_umids(path, umids_of(f"{reel}-{name} 0123", reel))
        found = read_back(path)
        assert found.umids
        entry = movie(
            output="relink", path=f"relink/{file}", container="mxf", clip_name=name, umid=found.umids.material, reel=reel,
            rate="25", frames=1, first_timecode=str(timecode),
        )  # fmt: skip
        append_record(
            out, recorded(f"{reel}-{name}", entry, rate="25", row=row, first_timecode=str(timecode))
        )
        files.add(file)
    write_clip_tables(out, read_log(out))
    return files


def of_csv(folder: Path) -> list[Said]:
    with (folder / "clips.csv").open(newline="", encoding="utf-8") as stream:
        return [
            Said(file=r["file"], name=r["clip"], reel=r["reel"], start=r["start"], umid=r["umid"])
            for r in csv.DictReader(stream, strict=True)
        ]


def of_otio(folder: Path) -> list[Said]:
    found = []
    for clip in otio.adapters.read_from_file(str(folder / "clips.otio")).find_clips():
        start, told = clip.media_reference.available_range.start_time, clip.metadata["rushlight"]
        found.append(
            Said(
                file=otio.url_utils.filepath_from_url(clip.media_reference.target_url),
                name=clip.name,
                reel=told["reel"],
                start=start.to_timecode(),
                umid=told["umid"],
            )
        )
    return found


def of_files(folder: Path) -> list[Said]:
    """By an independent reader."""
    found = []
    for path in folder.rglob("*.mxf"):
        material, tape = (structure(path).packages[kind] for kind in ("material", "tape"))
        start = Timecode(frames=tape.timecode[0], rate=RATE)
        file = path.relative_to(folder).as_posix()
        found.append(
            Said(file=file, name=material.name, reel=tape.name, start=str(start), umid=material.umid)
        )
    return found


KEYS: Mapping[str, Callable[[Said], Hashable]] = {
    "UMID": lambda said: said.umid,
    "reel and timecode": lambda said: (said.reel, said.start),
    "reel and name": lambda said: (said.reel, said.name),
}


def pairs(
    project: Iterable[Said], media: Iterable[Said], key: Callable[[Said], Hashable]
) -> dict[str, list[str]]:
    """For each file that a project names, the files whose own words are the same."""
    by_key = defaultdict(list)
    for said in media:
        by_key[key(said)].append(said.file)
    return {said.file: by_key[key(said)] for said in project}


@pytest.mark.parametrize("count", [30, pytest.param(300, marks=pytest.mark.slow)])
def test_no_wrong_pair(count: int, tmp_path: Path) -> None:
    files = delivered(tmp_path, count)
    folder = tmp_path / "relink"
    sources = {"clips.csv": of_csv(folder), "clips.otio": of_otio(folder), "MXF": of_files(folder)}
    for name, project in sources.items():
        assert {said.file for said in project} == files and len(project) == count, name
        for other, media in sources.items():
            for word, key in KEYS.items():
                assert pairs(project, media, key) == {file: [file] for file in files}, (name, other, word)
    assert len({said.reel for said in sources["MXF"]}) == 5 * -(-count // 60)


def test_without_umids_of_their_own_every_clip_is_every_other(tmp_path: Path) -> None:
    """The test above can fail: this is how files were."""
    files = delivered(tmp_path, 10, umids=False)
    found = pairs(of_csv(tmp_path / "relink"), of_files(tmp_path / "relink"), KEYS["UMID"])
    assert all(len(media) == len(files) for media in found.values())
