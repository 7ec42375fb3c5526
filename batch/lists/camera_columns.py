"""Camera columns of a clip: its picture's rotation, its squeeze, and how far its timecode is ahead.

A row's cell overrules a default's, which overrules the output's `frame` and the original's header.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from rushlight.pipelines.errors import ListError
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.recipe.model import Frame

__all__ = ["CAMERA_COLUMNS", "NOTHING", "Camera", "camera_letter", "camera_of", "framed"]

CAMERA_COLUMNS = ("rotation", "desqueeze", "clock_offset")


@dataclass(frozen=True, kw_only=True)
class Camera:
    """Rotation, squeeze and clock offset as stated; None where nobody states them."""

    rotation: int | None = None  # degrees, 0 or 180: as the stored picture is to be turned
    desqueeze: Fraction | None = None  # by which the stored picture is to be widened, in all
    clock_offset: Fraction | None = None  # seconds


NOTHING = Camera()


def camera_of(row: Mapping[str, str], said: Mapping[str, str]) -> Camera:
    """From a row's cells and what defaults say. ListError naming the column where a cell is none."""
    cells = {key: row.get(key) or said.get(key, "") for key in CAMERA_COLUMNS}
    rotation = cells["rotation"].removesuffix("°").strip()
    if rotation not in ("", "0", "180"):
        raise ListError(f"{rotation!r} will not do; takes 0 or 180 degrees", key="rotation")
    return Camera(
        rotation=int(rotation) if rotation else None,
        desqueeze=_number(cells["desqueeze"], "desqueeze", 0.25, 4, "a factor, such as 2 or 1.33"),
        clock_offset=_number(
            cells["clock_offset"],
            "clock_offset",
            -86400,
            86400,
            "seconds that timecode is ahead, such as -0.5",
        ),
    )


def camera_letter(stated: str, reel: str) -> str:
    """The letter of the camera: what the row states, else the first letter of a reel such as A001 (common practice, no
    source)."""
    match = re.match(r"([A-Za-z])_?\d", reel)
    return stated or (match[1] if match else "")


def _number(text: str, key: str, least: float, most: float, wanted: str) -> Fraction | None:
    if not text:
        return None
    plain = re.fullmatch(r"[+-]?\d{1,8}(\.\d{0,9})?|[+-]?\.\d{1,9}|\d{1,4}/[1-9]\d{0,3}", text)
    value = Fraction(text) if plain else None
    if value is None or not least <= value <= most:
        raise ListError(f"{text[:40]!r} will not do; takes {wanted}, from {least:g} to {most:g}", key=key)
    return value


def framed(frame: Frame, camera: Camera, facts: Facts) -> Frame:
    """An output's framing for one clip: what is stated stands in place of both the output's and the header's."""
    stated: dict[str, float] = {}
    if camera.rotation is not None:  # the header's turn is applied as well: this one undoes or keeps it
        stated["rotate"] = 180 if (camera.rotation == 180) != (facts.rotation == 180) else 0
    if camera.desqueeze is not None:
        stated["desqueeze"] = float(camera.desqueeze / facts.pixel_aspect)
    return frame.model_copy(update=stated) if stated else frame
