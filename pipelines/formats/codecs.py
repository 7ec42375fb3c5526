"""The codecs that outputs may ask for: a closed table, for encoders ignore options they do not know.

Sources: FFmpeg's documentation of prores_ks, dnxhd, libx264, libx265; what they do was measured. Intra codecs
join byte for byte; the long-GOP ones are cut in closed groups of pictures that divide a segment.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Literal

from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.formats.pixel_formats import PixelFormat, find_pixel_format
from rushlight.pipelines.formats.timecode import FrameRate

__all__ = [
    "CODECS",
    "PRESETS",
    "TRANSFERS",
    "Codec",
    "Siting",
    "Tags",
    "codec",
    "colour_volume",
    "encoder_options",
    "gop_frames",
    "log_notes",
    "output_faults",
    "rate_fault",
    "readable_tags",
    "segment_frames",
    "siting",
    "transfer_tag_fault",
]

Siting = Literal["left", "top-left", "centre"]


@dataclass(frozen=True, kw_only=True)
class Tags:
    """H.273 code points as they stand in the container and the stream; 2 is unspecified."""

    primaries: int = 2
    transfer: int = 2
    matrix: int = 1
    levels: Literal["narrow", "full"] = "narrow"


@dataclass(frozen=True, kw_only=True)
class Codec:
    """One codec with everything its encoder is told. The first container is the default."""

    name: str
    encoder: str  # FFmpeg's
    pixel_format: str
    bits: int
    containers: tuple[str, ...]
    profile: str  # as the encoder takes it
    reads_as: tuple[str, ...]  # profile as a reader reports it; empty: not checked
    intra: bool = True
    options: dict[str, str] = field(default_factory=dict)
    levels: Literal["narrow", "full"] = "narrow"
    siting: Siting = "left"  # across; `siting` below says where down
    matrix: int | None = None  # a codec whose matrix is fixed, whatever the display
    tag: str = ""  # the sample entry in MOV and MP4
    quality: float | None = None  # default of the quality scale, for codecs that have one
    quality_range: tuple[float, float] = (0, 0)  # best first
    bit_rates: dict[tuple[int, int], str] = field(default_factory=dict)  # rasters it has; empty: any
    smallest: tuple[int, int] = (16, 16)
    sliced: bool = False  # its encoder gives the same bytes on any number of threads that share its slices


def _prores(name: str, profile: str, reads: str) -> Codec:
    return Codec(
        name=name,
        encoder="prores_ks",
        pixel_format="yuv422p10le",
        bits=10,
        containers=("mov", "mxf"),
        profile=profile,
        reads_as=(reads,),
        options={"profile": profile},
        sliced=True,
    )


def _dnxhr(name: str, profile: str, reads: str, pixel_format: str = "yuv422p", bits: int = 8) -> Codec:
    return Codec(
        name=name,
        encoder="dnxhd",
        pixel_format=pixel_format,
        bits=bits,
        containers=("mov", "mxf"),
        profile=profile,
        reads_as=(reads,),
        options={"profile": profile},
        smallest=(256, 120),
        sliced=True,
    )


def _long(
    name: str, encoder: str, pixel_format: str, bits: int, profile: str, reads: str, quality: float, tag: str
) -> Codec:
    return Codec(
        name=name,
        encoder=encoder,
        pixel_format=pixel_format,
        bits=bits,
        containers=("mp4", "mov"),
        profile=profile,
        reads_as=(reads,),
        intra=False,
        tag=tag,
        quality=quality,
        quality_range=(1, 51),  # 0 is lossless, which these profiles have not
        smallest=(32, 32),
    )


_TABLE = (
    _prores("prores-proxy", "proxy", "Proxy"),
    _prores("prores-lt", "lt", "LT"),
    _prores("prores-422", "standard", "Standard"),
    _dnxhr("dnxhr-lb", "dnxhr_lb", "DNXHR LB"),
    _dnxhr("dnxhr-sq", "dnxhr_sq", "DNXHR SQ"),
    _dnxhr("dnxhr-hqx", "dnxhr_hqx", "DNXHR HQX", "yuv422p10le", 10),
    Codec(
        name="dnxhd",
        encoder="dnxhd",
        pixel_format="yuv422p",
        bits=8,
        containers=("mxf", "mov"),
        profile="dnxhd",
        reads_as=("DNXHD",),
        options={"profile": "dnxhd"},
        # The smallest 8-bit progressive compression IDs of SMPTE ST 2019-1, 1253 and 1252, as FFmpeg lists them.
        # A picture's size is fixed by its ID; the bit rate at 24 frames a second is how the encoder is told of it.
        bit_rates={(1920, 1080): "36M", (1280, 720): "60M"},
        sliced=True,
    ),
    _long("h264", "libx264", "yuv420p", 8, "high", "High", 20, "avc1"),
    _long("h264-10", "libx264", "yuv420p10le", 10, "high10", "High 10", 20, "avc1"),
    _long("hevc", "libx265", "yuv420p", 8, "main", "Main", 22, "hvc1"),
    _long("hevc-10", "libx265", "yuv420p10le", 10, "main10", "Main 10", 22, "hvc1"),
    Codec(
        name="mjpeg",
        encoder="mjpeg",
        pixel_format="yuvj420p",
        bits=8,
        containers=("mov",),
        profile="",
        reads_as=(),
        options={"flags": "+qscale"},
        levels="full",
        siting="centre",
        matrix=5,
        quality=4,
        quality_range=(2, 31),
    ),
)

CODECS = {c.name: c for c in _TABLE}
PRESETS = (
    "superfast",
    "veryfast",
    "faster",
    "fast",
    "medium",
    "slow",
    "slower",
    "veryslow",
)  # ultrafast is another profile

# Transfers that a movie for an SDR display may be tagged with, whatever its display (ITU-T H.273, table 3).
TRANSFERS = {1: "BT.709", 2: "unspecified", 4: "gamma 2.2", 13: "sRGB"}

# Rates that FFmpeg writes into MXF and that read back the same; it writes 119.88 as 120 and refuses the rest.
_MXF_RATES = frozenset(
    [Fraction(n) for n in (24, 25, 30, 48, 50, 60, 72, 96, 100, 120)]
    + [Fraction(n * 1000, 1001) for n in (24, 30, 48, 60)]
)

# How a peak cap P (bits in any second) is shared out. A rate buffer of B that fills at R a second lets through at
# most B + R in a second; each segment starts its own with F in it. The worst second lies across a join, the
# buffer emptied on both sides of it: B + R + F. These make that P, and each picture of a steady stream may take
# F at least. A steady stream is held to R.
_PEAK_RATE, _PEAK_BUFFER, _PEAK_START = 0.65, 0.20, 0.15


def codec(name: str) -> Codec:
    """The codec of that name. RecipeError listing the table, with the nearest name."""
    found = CODECS.get(name.strip().lower().replace(" ", "-").replace("_", "-"))
    if found:
        return found
    near = difflib.get_close_matches(name.lower(), CODECS, 1)
    hint = f"; did you mean {near[0]!r}?" if near else ""
    raise RecipeError(f"{name!r} is no codec; takes {', '.join(CODECS)}{hint}", key="codec")


def output_faults(
    which: Codec,
    *,
    container: str = "",
    size: tuple[int, int] | None = None,
    quality: float | None = None,
    preset: str = "",
    peak: float | None = None,
    transfer: int = 2,
) -> list[tuple[str, str]]:
    """Settings that a codec does not take, as (key, sentence) pairs; empty if all will do. Known before a
    file is opened."""
    faults = []
    if container and container not in which.containers:
        faults.append(
            ("container", f"{which.name} goes into {' or '.join(which.containers)}, not {container}")
        )
    if size and which.bit_rates and size not in which.bit_rates:
        rasters = " and ".join(f"{w}x{h}" for w, h in which.bit_rates)
        faults.append(
            ("size", f"{which.name} has {rasters} only, not {size[0]}x{size[1]}; DNxHR takes any size")
        )
    if size and (size[0] < which.smallest[0] or size[1] < which.smallest[1]):
        least = "x".join(map(str, which.smallest))
        faults.append(("size", f"{which.name} takes {least} and larger, not {size[0]}x{size[1]}"))
    if quality is not None:
        best, worst = which.quality_range
        if which.quality is None:
            faults.append(("quality", f"{which.name} has no quality scale; its profile fixes it"))
        elif not best <= quality <= worst:
            faults.append(("quality", f"{quality:g}: {which.name} takes {best:g} (best) to {worst:g}"))
    if preset and which.intra:
        faults.append(("preset", f"{which.name} has no presets"))
    elif preset and preset not in PRESETS:
        faults.append(("preset", f"{preset!r} will not do; takes {', '.join(PRESETS)}"))
    if peak is not None and which.intra:
        faults.append(("peak", f"{which.name} has no peak cap; h264 and hevc have"))
    if transfer in (16, 18) and which.bits < 10:
        faults.append(("codec", f"PQ and HLG need a 10-bit codec; {which.name} has {which.bits} bits"))
    return faults


def rate_fault(which: Codec, container: str, rate: FrameRate) -> str:
    """Why this container cannot hold the rate, as a sentence; empty if it can."""
    if container == "mxf" and rate.fraction not in _MXF_RATES:
        rates = ", ".join(str(FrameRate(fraction=f)) for f in sorted(_MXF_RATES))
        other = next((c for c in which.containers if c != "mxf"), "mov")
        return f"MXF holds {rates} frames a second, not {rate}; {other} holds any"
    return ""


def transfer_tag_fault(which: Codec, container: str, *, tag: int, transfer: int, state: str) -> str:
    """Why a movie of that transfer cannot be tagged with another, as a sentence; empty if it can."""
    if state == "log":
        return "state log has no display, and its transfer stays unspecified"
    if transfer in (16, 18):
        return "a PQ or HLG picture keeps its own tag: with another every player would show it wrong"
    if readable_tags(which, container, Tags(transfer=tag))[0].transfer != tag:
        return f"{which.name} in {container} has no label for {TRANSFERS[tag]}; mov has"
    return ""


def log_notes(which: Codec, source: PixelFormat, *, levels: str, linear: bool = False) -> list[str]:
    """Notes on what a log picture in that codec cannot keep of an original's codes, in words; empty if
    nothing."""
    target = find_pixel_format(which.pixel_format)
    assert target is not None
    if linear:
        return [
            f"a scene-linear original: its log picture is ACEScct in {which.name}, by BT.709 at {levels} levels"
        ]
    if source.family == "rgb":
        return [
            f"an RGB original: its log picture goes into {which.name} by BT.709 at the original's {levels} levels"
        ]
    notes = []
    if (source.sub_x, source.sub_y) != (target.sub_x, target.sub_y):
        notes.append(
            f"the log picture's chroma goes from {source.sampling} to {target.sampling} in {which.name}"
        )
    if source.bits > target.bits:
        notes.append(
            f"the log picture's {source.bits}-bit codes are rounded to {target.bits} bits in {which.name}"
        )
    return notes


def siting(which: Codec, tags: Tags) -> Siting:
    """Chroma siting: left for 4:2:2 and BT.709 4:2:0, top-left for BT.2020 and BT.2100 4:2:0
    (ITU-R BT.2020-2, table 4; BT.2100-2, table 6), centre for JPEG (JFIF 1.02)."""
    if which.siting == "left" and "420" in which.pixel_format and tags.matrix == 9:
        return "top-left"
    return which.siting


def colour_volume(which: Codec, tags: Tags) -> int:
    """The colour volume (CLV) that a DNxHR picture header has: 0 BT.709, 1 BT.2020, 3 another (SMPTE ST 2019-1:2016;
    the numbers as FFmpeg's decoder reads them)."""
    if which.encoder != "dnxhd" or which.bit_rates or tags.matrix == 1:
        return 0
    return 1 if tags.matrix == 9 else 3


def readable_tags(which: Codec, container: str, tags: Tags) -> tuple[Tags, Tags]:
    """Tags that a reader finds in the container and in a picture, where they cannot say all of `tags`.

    ProRes has no full levels; a DNxHD picture is BT.709's whatever its container says; MXF has no label for the
    sRGB transfer.
    """
    if which.encoder == "prores_ks":
        tags = replace(tags, levels="narrow")
    if which.encoder == "dnxhd" and container == "mxf" and tags.transfer == 13:
        tags = replace(tags, transfer=2)
    return tags, replace(tags, matrix=1) if which.bit_rates else tags


def segment_frames(rate: FrameRate) -> int:
    """Frames of one segment: two seconds, in whole groups of pictures."""
    return 2 * rate.nominal


def gop_frames(rate: FrameRate) -> int:
    """Frames of a group of pictures in long-GOP codecs: one second."""
    return rate.nominal


def encoder_options(
    which: Codec,
    *,
    rate: FrameRate,
    size: tuple[int, int],
    tags: Tags,
    quality: float | None = None,
    preset: str = "",
    peak: float | None = None,
) -> dict[str, str]:
    """Every option the encoder is given. `quality` is CRF (h264, hevc) or the quantiser (mjpeg).

    `peak`, in Mbit, holds over any second of joined segments. RecipeError for what the codec does not take.
    """
    faults = output_faults(
        which, size=size, quality=quality, preset=preset, peak=peak, transfer=tags.transfer
    )
    if faults:
        raise RecipeError(faults[0][1], key=faults[0][0])
    options = dict(which.options)
    level = which.quality if quality is None else quality
    if which.bit_rates:
        options["b"] = which.bit_rates[size]
    if which.encoder == "mjpeg" and level is not None:
        options["global_quality"] = str(round(118 * level))  # FF_QP2LAMBDA
    if which.intra:
        return options
    gop = gop_frames(rate)
    place = {"left": 0, "centre": 1, "top-left": 2}[siting(which, tags)]  # ITU-T H.264 and H.265, figure E.1
    told: dict[str, object] = {
        "keyint": gop,
        "min-keyint": gop,
        "scenecut": 0,
        "open-gop": 0,
        "chromaloc": place,
    }
    if which.encoder == "libx264":
        told |= {"threads": 1, "stitchable": 1}
    else:
        told |= {"pools": "none", "frame-threads": 1, "repeat-headers": 0, "info": 0, "log-level": "none"}
    if peak:
        told |= {
            "vbv-maxrate": int(peak * 1000 * _PEAK_RATE),
            "vbv-bufsize": int(peak * 1000 * _PEAK_BUFFER),
            "vbv-init": round(_PEAK_START / _PEAK_BUFFER, 3),
        }
    options |= {"preset": preset or "veryfast", "profile": which.profile, "crf": f"{level:g}"}
    options[f"{which.encoder.removeprefix('lib')}-params"] = ":".join(f"{k}={v}" for k, v in told.items())
    return options
