"""A small shooting day for tests: cards of tiny movies, made once and copied in, and the day document."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from pathlib import Path

from pictures import numbered, write_movie

RECIPE = """
name = "small"
[[output]]
name = "proxy"
make = "movie"
codec = "prores-proxy"
container = "mov"
size = "64x36"
"""
DAY = """
production = "The Lamp Room"
day = "12"
media = ["media"]
sound = ["sound"]
grades = ["grades"]
recipes = ["small.toml"]
out = "out"
{more}
[[default]]
file = "*"
encoding = "LogC3"
levels = "narrow"
"""


class SmallDay:
    """A day in a folder: `media` and `grades` are made, `sound` is not there yet."""

    def __init__(self, folder: Path, more: str = "") -> None:
        self.folder, self.media, self.grades = folder, folder / "media", folder / "grades"
        self.out, self.file, self.queue = folder / "out", folder / "day.toml", folder / "q.sqlite"
        self.media.mkdir(parents=True)
        self.grades.mkdir()
        (folder / "small.toml").write_text(RECIPE)
        self.file.write_text(DAY.format(more=more))

    def made(self, name: str, clips: Iterable[str], frames: int = 2) -> Path:
        """A card made beside the day, not on it yet: its clips one after the other from an hour that is its name's number."""
        place = self.folder / "made" / name
        place.mkdir(parents=True)
        hour = int("".join(c for c in name if c.isdigit()) or 0) % 24
        for number, clip in enumerate(clips):
            pictures = [numbered(100 * hour + 10 * number + n) for n in range(frames)]
            timecode = f"{hour:02}:{number:02}:00:00"
            write_movie(place / f"{clip}.mov", pictures, reel=name, timecode=timecode)
        return place

    def put(self, card: Path, name: str = "") -> Path:
        """The card in the media folder, at once."""
        return Path(shutil.copytree(card, self.media / (name or card.name)))

    def grade(self, clip: str, saturation: float = 0.5) -> None:
        """A grade of a clip, under its final name at once."""
        part = self.grades / f".{clip}"
        part.write_text(f"id,saturation\n{clip},{saturation}\n")
        part.rename(self.grades / f"{clip}.csv")
