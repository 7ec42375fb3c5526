"""The picture of a look: a PNG that is the same every time, and another for another look."""

from __future__ import annotations

import struct

from rushlight.batch.look_pictures.curves_and_gamuts import look_picture
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look


def look(slope: float) -> Look:
    return Look(
        encoding=find_encoding("LogC3"),
        display=find_display("Rec.709 BT.1886"),
        cdl=CDL(slope=(slope,) * 3, offset=(0.0,) * 3, power=(1.0,) * 3, saturation=1.0),
        transform="colorimetric",
    )


def test_it_is_a_png_of_this_look() -> None:
    one, again, other = (look_picture(look(slope), "A001 $x$ <b>") for slope in (1.0, 1.0, 1.2))
    assert one == again != other and one.startswith(b"\x89PNG")
    assert struct.unpack(">II", one[16:24]) == (1430, 660)  # of its header: W3C PNG, section 11.2.1
