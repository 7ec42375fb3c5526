"""Stills: display R'G'B' or scene-linear values into one picture file, rounded by us, with an ICC profile.

JPEG carries Y'CbCr by BT.601 at full levels (JFIF 1.02), 4:4:4. Written under a temporary name that keeps the
extension, for the library chooses the format by it.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.displays import Display
from rushlight.pipelines.colour.icc_profile import profile
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import DeliveryError, from_os
from rushlight.pipelines.inside_folder import fresh
from rushlight.pipelines.outputs.xmp_packet import with_xmp

__all__ = ["EXTENSIONS", "KINDS", "Attribute", "codes", "read_still", "still_words", "write_still"]

EXTENSIONS = {
    "jpeg": ".jpg",
    "png8": ".png",
    "png16": ".png",
    "tiff8": ".tif",
    "tiff16": ".tif",
    "exr": ".exr",
}
KINDS = tuple(EXTENSIONS)
Attribute = str | tuple[str, object]  # a text, or OpenImageIO's name of a type and a value
ACES_CHROMATICITIES = (0.7347, 0.2653, 0.0, 1.0, 0.0001, -0.0770, 0.32168, 0.33767)


def write_still(
    path: Path,
    rgb: NDArray[np.generic],
    kind: str,
    *,
    display: Display | None = None,
    metadata: Mapping[str, Attribute] | None = None,
    xmp: bytes = b"",
    quality: int = 95,
) -> None:
    """Write (h, w, 3) values as `kind`: display R'G'B' in 0..1 (clipped; NaN is 0), for `exr` scene-linear ACES2065-1, or `codes`
    of the kind as they are. `quality` is JPEG's, 1 to 100; below 90 its chroma is 4:2:0.
    `metadata` are attributes by OpenImageIO's names, `xmp` is a packet for any kind but `exr`.

    DeliveryError with the library's words if it cannot be written, ResourceError if there is no room. `path` must end in the kind's extension.
    """
    import OpenImageIO as oiio

    height, width, _ = rgb.shape
    pixels = np.ascontiguousarray(
        rgb if rgb.dtype == _type_of(kind) else codes(rgb.astype(np.float64, copy=False), kind)
    )
    if kind == "exr":
        spec = oiio.ImageSpec(width, height, 3, oiio.HALF)
        spec.attribute("compression", "zip")
        spec.attribute("chromaticities", "float[8]", ACES_CHROMATICITIES)
        spec.attribute("oiio:ColorSpace", "ACES2065-1")
    else:
        spec = oiio.ImageSpec(width, height, 3, oiio.UINT16 if kind.endswith("16") else oiio.UINT8)
        icc = profile(display) if display else None
        if icc:
            spec.attribute("ICCProfile", f"uint8[{len(icc)}]", np.frombuffer(icc, np.uint8))
        elif (
            display
        ):  # no profile says PQ or HLG; a PNG can by H.273 code points (PNG, third edition, 11.3.2.6)
            spec.attribute("CICP", "int[4]", (display.primaries, display.transfer, 0, 1))
        spec.attribute("oiio:ColorSpace", "unknown")  # or the library adds that it is sRGB
        if kind == "jpeg":
            spec.attribute("Compression", f"jpeg:{quality}")
            spec.attribute("jpeg:subsampling", "4:4:4" if quality >= 90 else "4:2:0")
        elif kind.startswith("tiff"):
            spec.attribute("compression", "zip")
    spec.attribute("Software", "")
    spec.attribute("DateTime", "")  # nothing of the clock goes into an output
    for key, value in sorted((metadata or {}).items()):
        spec.attribute(key, *(value if isinstance(value, tuple) else (value,)))
    writer = oiio.ImageOutput.create(str(path))
    if writer is None:
        raise DeliveryError(f"cannot be created: {oiio.geterror()}", file=str(path))
    with _in_memory(path, partial(with_xmp, kind=kind, packet=xmp) if xmp else None) as place:
        try:
            if not writer.open(place, spec) or not writer.write_image(pixels):
                raise DeliveryError(f"cannot be written: {writer.geterror()}", file=str(path))
        finally:
            writer.close()


def _type_of(kind: str) -> type[np.generic]:
    return np.float16 if kind == "exr" else np.uint16 if kind.endswith("16") else np.uint8


def codes(rgb: NDArray[np.float64], kind: str) -> NDArray[np.generic]:
    """Values as a file of this kind holds them: integers of 0..1 (clipped; NaN is 0), rounded to even, or half floats."""
    if kind == "exr":
        return np.clip(np.nan_to_num(rgb), -65504, 65504).astype(np.float16)
    top = 65535 if kind.endswith("16") else 255
    return np.rint(np.minimum(np.fmax(rgb, 0.0), 1.0) * top).astype(_type_of(kind))


@contextmanager
def _in_memory(path: Path, change: Callable[[bytes], bytes] | None) -> Iterator[str]:
    """A file in memory for a library, put under `path` by us, with a `change` of its bytes: of a full disk libjpeg ends the process, and others do not
    say that it was that. Elsewhere than on Linux it is the file itself. ResourceError where there is no room."""
    if not hasattr(os, "memfd_create"):
        yield str(path)
        if change:
            path.write_bytes(change(path.read_bytes()))
        return
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    with open(os.memfd_create(path.name), "rb") as memory:
        yield f"/proc/self/fd/{memory.fileno()}"
        try:
            with fresh(path.parent, temporary.name).open("wb") as stream:
                if change:
                    stream.write(change(memory.read()))
                else:
                    shutil.copyfileobj(memory, stream, 1 << 20)
            os.replace(temporary, path)
        except OSError as error:
            raise from_os(error, path) from None
        finally:
            temporary.unlink(missing_ok=True)


def still_words(path: Path) -> tuple[str, bytes]:
    """Metadata of a still: its description (clip and timecode) and its ICC profile, each empty where it has
    none.

    DeliveryError where it does not open.
    """
    import OpenImageIO as oiio

    reader = oiio.ImageInput.open(str(path))
    if reader is None:
        raise DeliveryError(f"does not open again: {oiio.geterror()}", file=str(path))
    try:
        spec = reader.spec()
        icc = spec.getattribute("ICCProfile")
        return str(spec.getattribute("ImageDescription") or ""), b"" if icc is None else bytes(icc)
    finally:
        reader.close()


MOST_PIXELS = 2**27  # 16384 x 8192: a damaged header may ask for any amount of memory


def read_still(path: Path, *, width: int | None = None) -> NDArray[np.float64]:
    """The values (h, w, 3) of a still, integers as 0..1; with `width` every so many pixels that it is at least as wide as
    that. DeliveryError where the file is short or not a picture."""
    import OpenImageIO as oiio

    reader = oiio.ImageInput.open(str(path))
    if reader is None:
        raise DeliveryError(f"does not open again: {oiio.geterror()}", file=str(path))
    try:
        spec = reader.spec()
        kind = str(spec.format)
        if spec.nchannels < 3 or spec.width * spec.height > MOST_PIXELS:
            found = f"{spec.width}x{spec.height} with {counted(spec.nchannels, 'channel')}"
            raise DeliveryError(f"is no picture of ours: {found}", file=str(path))
        native = {"uint8": oiio.UINT8, "uint16": oiio.UINT16}.get(kind, oiio.FLOAT)
        pixels = reader.read_image(0, 0, 0, 3, native)
        if pixels is None or reader.has_error:
            raise DeliveryError(f"does not read whole: {reader.geterror()}", file=str(path))
    finally:
        reader.close()
    top = {"uint8": 255.0, "uint16": 65535.0}.get(kind, 1.0)
    step = max(1, spec.width // width) if width else 1
    return np.asarray(pixels[::step, ::step], np.float64) / top
