"""Originals that are damaged in their middles, what puts each whole again under the same size, ends and time, and a list of them."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

import independent
from here import HereFarm, run
from logged import latest, read_records
from pictures import numbered, write_sequence

START = "23:59:59:20"
LONG = (
    "-c:v",
    "libx264",
    "-pix_fmt",
    "yuv420p",
    "-x264-params",
    "keyint=12:min-keyint=12:bframes=2:scenecut=0",
)
RECIPE = """
damaged_frames = "deliver"
missing_frames = "hold"

[[output]]
name = "e"
make = "movie"
codec = "dnxhr-hqx"
size = "256x144"
"""
SPOILT = 28
CLIPS = ("intra.mov", "group.mp4", "shot")


@dataclass(frozen=True)
class Card:
    """Originals that are damaged, and what puts each whole again: all under the same size and time."""

    folder: Path
    whole: dict[Path, bytes]
    spoilt: dict[Path, bytes]

    def put(self, contents: dict[Path, bytes], *names: str) -> None:
        for path, data in contents.items():
            if any(name in path.relative_to(self.folder).as_posix() for name in names or CLIPS):
                time = path.stat().st_mtime_ns
                path.write_bytes(data)
                os.utime(path, ns=(time, time))


def overwritten(path: Path, which: int) -> None:
    """One picture's packet (in order of decoding), zeroed from its first third on."""
    with av.open(str(path)) as container:
        place, size = [(p.pos, p.size) for p in container.demux(container.streams.video[0]) if p.size][which]
    data = bytearray(path.read_bytes())
    data[place + size // 3 : place + size] = bytes(size - size // 3)
    path.write_bytes(data)


@pytest.fixture(scope="session")
def card(tmp_path_factory: pytest.TempPathFactory) -> Card:
    folder = tmp_path_factory.mktemp("card")
    frames = [numbered(n, 256, 144) for n in range(60)]
    noise = ("-vf", "noise=alls=40:allf=t", "-timecode", START)
    independent.write(
        folder / "intra.mov", frames, "-c:v", "prores_ks", "-profile:v", 3, "-qscale:v", 1, *noise
    )
    independent.write(folder / "group.mp4", frames, *LONG, "-crf", 1, *noise)
    codes = [np.full((144, 256, 3), 200 + 4 * n, np.uint16) for n in range(10)]
    shot = write_sequence(folder / "shot", codes, first=86400)
    file = shot / "shot.0086405.dpx"
    paths = (folder / "intra.mov", folder / "group.mp4", file)
    whole = {path: path.read_bytes() for path in paths}
    overwritten(folder / "intra.mov", SPOILT)
    overwritten(folder / "group.mp4", 24)  # a key picture
    for movie in paths[:2]:  # what the hash of its ends does not see
        differs = [n for n, (a, b) in enumerate(zip(whole[movie], movie.read_bytes(), strict=True)) if a != b]
        assert 1 << 20 < differs[0] < differs[-1] < len(whole[movie]) - (1 << 20)
    file.write_bytes(whole[file][:5000])
    for path in (*paths, *shot.iterdir()):
        os.utime(path, ns=(1_700_000_000 * 10**9, 1_700_000_000 * 10**9))
    return Card(folder, whole, {path: path.read_bytes() for path in paths})


@pytest.fixture
def day(card: Card, tmp_path: Path) -> Path:
    card.put(card.spoilt)
    (tmp_path / "r.toml").write_text(RECIPE)
    return listed(tmp_path, card, *CLIPS)


def listed(day: Path, card: Card, *clips: str) -> Path:
    """A list of these clips; gives the day."""
    rows = "".join(f"{card.folder / clip},Video Rec.709\n" for clip in clips)
    (day / "day.csv").write_text(f"clip,encoding\n{rows}")
    return day


def render(day: Path, *more: object, command: str = "render") -> str:
    options = ("--recipe", day / "r.toml", "--out", day / "out", *more)
    code, said = run(*command.split(), day / "day.csv", *options)
    assert code == 0, said
    return " ".join(said.split())


def records(day: Path) -> dict[str, dict[str, Any]]:
    return {Path(r["clip"]).name: r for r in latest(read_records(day / "out")).values()}


def made(farm: HereFarm) -> list[str]:
    """Clips that were made since the last call."""
    found = [task.arguments[0]["stem"] for task in farm.calls if task.function.endswith("finish_job")]
    farm.calls.clear()
    return sorted(found)
