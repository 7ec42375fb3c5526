"""A still's picture is kept as its files' codes, and measured as the whole picture of values would be."""

from __future__ import annotations

import numpy as np
import pytest

from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.measure import colour_tiles
from rushlight.pipelines.measure.checksum import frame_digest
from rushlight.pipelines.originals.framing import Placement, Rect
from rushlight.pipelines.render.picture import rounded
from rushlight.pipelines.render.still_picture import StillPicture

DISPLAY = find_display("Rec.709 BT.1886")


def placed(x: int, y: int, width: int, height: int) -> Placement:
    return Placement(crop=Rect(x=0, y=0, width=width, height=height), x=x, y=y, width=width, height=height)


@pytest.mark.parametrize(  # tiles of every pixel, every second and every third
    ("size", "rows"), [((160, 90), 1), ((160, 90), 7), ((1283, 122), 7), ((1920, 108), 64)]
)
def test_in_bands_and_padded_it_is_what_the_whole_picture_gives(size: tuple[int, int], rows: int) -> None:
    width, height = size
    place = placed(13, 5, width - 30, height - 11)
    values = np.random.default_rng(rows).uniform(-0.2, 1.3, (place.height, place.width, 3))
    values[3, 4:6], values[5, 5, 1] = np.nan, np.inf
    whole = np.zeros((height, width, 3))
    whole[5 : 5 + place.height, 13 : 13 + place.width] = values
    clean = np.clip(np.nan_to_num(whole), 0, 1)
    picture = StillPicture(size, place, DISPLAY)
    for kind in ("jpeg", "png8", "tiff16", "exr"):
        picture.wants(kind)
    for first in range(0, place.height, rows):
        some = slice(first, min(first + rows, place.height))
        picture.put(some, values[some])
    assert (picture.codes_of("tiff16") == np.rint(clean * 65535)).all()
    assert (picture.codes_of("jpeg") == np.rint(clean * 255)).all()
    light = np.clip(np.nan_to_num(whole), -65504, 65504).astype(np.float16)
    assert (picture.codes_of("exr") == light).all()
    assert picture.digest == frame_digest([np.rint(clean * 65535).astype("<u2")])
    assert picture.tiles == rounded(colour_tiles.tile_lab_rgb(whole, DISPLAY, picture.box))


def test_it_holds_what_its_files_hold_and_no_more() -> None:
    picture = StillPicture((64, 36), placed(0, 0, 64, 36), None)
    assert picture.codes_of("png16").dtype == np.uint16
    with pytest.raises(KeyError):
        picture.codes_of("jpeg")
