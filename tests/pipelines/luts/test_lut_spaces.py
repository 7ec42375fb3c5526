"""What a LUT gives, by name."""

import pytest

from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.errors import EncodingError
from rushlight.pipelines.luts.lut_spaces import lut_output


def test_what_a_lut_gives_by_name() -> None:
    assert lut_output("Rec.709") == find_display("Rec.709 BT.1886")  # a display before a scene of that name
    assert lut_output("ACES2065-1") == find_encoding("ACES2065-1")
    assert lut_output("LogC3", exposure_index=400) == find_encoding("LogC3 EI 400")
    for name in ("LogX", "Video Rec.709"):
        with pytest.raises(EncodingError, match="is no display; takes"):
            lut_output(name)
