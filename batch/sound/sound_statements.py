"""What is stated of a clip's sound: its cell `sound`, and offset, rate and roll from row, default or recipe, in that order."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from rushlight.pipelines.errors import InputError, ListError, TimecodeError
from rushlight.pipelines.formats.timecode import FrameRate

__all__ = ["LAYS", "SOUND_COLUMNS", "SoundStated", "lay_of", "parse_offset", "sound_stated"]

LAYS = ("copy", "mix", "silent", "none")  # how sound is laid under pictures; the same words in a recipe
CAMERA = "camera"
SOUND_COLUMNS = ("sound_offset", "sound_rate", "sound_roll")
MOST = 86400 * 48000  # samples of an offset


@dataclass(frozen=True, kw_only=True)
class SoundStated:
    """`files`: names of the sound files that the row wants. `none`: no production sound is wanted, and none is missed."""

    files: tuple[str, ...] = ()
    none: bool = False
    camera: bool = False
    offset: Fraction = Fraction(0)  # delivered samples by which sound is moved later
    rate: Fraction | None = None  # frames a second of the sound's timecode, in place of what its file says
    roll: str = ""  # sound roll; `*` and `?` stand for characters


def lay_of(cell: str) -> str:
    """How a row's cell `sound` wants sound laid; empty where it names files or the camera's sound."""
    return cell.strip().lower() if cell.strip().lower() in LAYS else ""


def sound_stated(
    row: Mapping[str, str], said: Mapping[str, str], delivered: FrameRate, *, offset: str = ""
) -> SoundStated:
    """From a row's cells, what defaults say, and the recipe's `sound_offset`. ListError naming the column where one is wrong."""
    cells = {key: row.get(key) or said.get(key, "") for key in SOUND_COLUMNS}
    cell = row.get("sound", "").strip()
    word = cell.lower()
    names = (
        ()
        if not cell or word in (*LAYS, CAMERA)
        else tuple(n.strip() for n in re.split(r"[;,]", cell) if n.strip())
    )
    rate = None
    if cells["sound_rate"]:
        try:
            rate = FrameRate.parse(cells["sound_rate"]).fraction
        except TimecodeError as error:
            raise ListError(error.text, key="sound_rate") from None
    try:
        moved = parse_offset(cells["sound_offset"] or offset, delivered)
    except InputError as error:
        raise error.at(key="sound_offset") from None
    return SoundStated(
        files=names,
        none=word in ("none", "silent"),
        camera=word == CAMERA,
        offset=moved,
        rate=rate,
        roll=cells["sound_roll"],
    )


def parse_offset(text: str, delivered: FrameRate) -> Fraction:
    """`480 samples`, `-2 frames`, `+0.5 frame`: samples at 48 kHz by which sound is moved later. ListError for anything else."""
    if not text.strip():
        return Fraction(0)
    match = re.fullmatch(r"([+-]?\d{1,10}(?:\.\d{1,6})?)\s*(samples?|frames?)", text.strip().lower())
    if not match:
        raise ListError(
            f"{text[:40]!r} will not do; takes samples or frames, such as -480 samples or 2 frames"
        )
    number = Fraction(match[1])
    moved = number * 48000 / delivered.fraction if match[2].startswith("frame") else number
    if abs(moved) > MOST:
        raise ListError(f"{text[:40]!r} is more than a day")
    return moved
