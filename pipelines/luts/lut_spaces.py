"""What a LUT gives, by name: the signal of a display, or a scene."""

from __future__ import annotations

from rushlight.pipelines.colour.camera_encodings import Encoding, find_encoding
from rushlight.pipelines.colour.displays import Display, find_display
from rushlight.pipelines.errors import EncodingError

__all__ = ["lut_output"]


def lut_output(name: str, *, exposure_index: int | None = None) -> Display | Encoding:
    """What a LUT gives, by name: the signal of a display, else a scene in a camera or linear encoding, which a transform is
    still to show; of LogC3 for that exposure index, unless the name states one. EncodingError naming the displays for anything else."""
    try:
        return find_display(name)
    except EncodingError as error:
        try:
            scene = find_encoding(name, exposure_index=exposure_index)
        except EncodingError:
            raise error from None
        if scene.kind == "video":
            raise
        return scene
