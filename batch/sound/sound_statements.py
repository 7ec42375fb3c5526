"""Statements on a clip's sound: its cell `sound`, and offset, rate and roll from row, default or recipe, in
that order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from rushlight.batch.lists.clip_list import sound_names
from rushlight.pipelines.errors import InputError, ListError, TimecodeError
from rushlight.pipelines.formats.timecode import FrameRate
from rushlight.pipelines.sound.sound_offset import parse_offset

__all__ = ["LAYS", "SOUND_COLUMNS", "SoundStated", "lay_of", "sound_stated"]

LAYS = ("copy", "mix", "silent", "none")  # how sound is laid under pictures; the same words in a recipe
CAMERA = "camera"
SOUND_COLUMNS = ("sound_offset", "sound_rate", "sound_roll")


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
    """Lay of sound that a row's cell `sound` asks for; empty where it names files or the camera's sound."""
    return cell.strip().lower() if cell.strip().lower() in LAYS else ""


def sound_stated(
    row: Mapping[str, str], said: Mapping[str, str], delivered: FrameRate, *, offset: str = ""
) -> SoundStated:
    """From a row's cells, what defaults say, and the recipe's `sound_offset`. ListError naming the column where one is wrong."""
    cells = {key: row.get(key) or said.get(key, "") for key in SOUND_COLUMNS}
    cell = row.get("sound", "").strip()
    word = cell.lower()
    names = () if not cell or word in (*LAYS, CAMERA) else sound_names(cell)
    rate = None
    if cells["sound_rate"]:
        try:
            rate = FrameRate.parse(cells["sound_rate"]).fraction
        except TimecodeError as error:
            raise ListError(error.text, key="sound_rate") from None
    try:
        moved = parse_offset(cells["sound_offset"] or offset, delivered.fraction)
    except InputError as error:
        raise ListError(error.text, key="sound_offset") from None
    return SoundStated(
        files=names,
        none=word in ("none", "silent"),
        camera=word == CAMERA,
        offset=moved,
        rate=rate,
        roll=cells["sound_roll"],
    )
