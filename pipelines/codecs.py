"""The codecs that outputs may ask for: a closed table, for encoders ignore options they do not know.

Sources: FFmpeg's documentation of prores_ks, dnxhd, libx264, libx265; what they do was measured. Intra codecs
join byte for byte; the long-GOP ones are cut in closed groups of pictures that divide a segment.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass, field
from typing import Literal

from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.timecode import FrameRate

__all__ = ["CODECS", "Codec", "Tags", "codec", "encoder_options", "gop_frames", "segment_frames"]

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
    siting: Siting = "left"
    matrix: int | None = None  # a codec whose matrix is fixed, whatever the display
    tag: str = ""  # the sample entry in MOV and MP4
    quality: float | None = None  # default of the quality scale, for codecs that have one
    hd_only: bool = False


def _prores(name: str, profile: str, reads: str) -> Codec:
    return Codec(
        name=name,
        encoder="prores_ks",
        pixel_format="yuv422p10le",
        bits=10,
        containers=("mov", "mxf"),
        profile=profile,
        reads_as=(reads,),
        options={"profile": profile, "vendor": "apl0"},
    )


def _dnx(name: str, profile: str, reads: str, pixel_format: str = "yuv422p", bits: int = 8) -> Codec:
    return Codec(
        name=name,
        encoder="dnxhd",
        pixel_format=pixel_format,
        bits=bits,
        containers=("mov", "mxf"),
        profile=profile,
        reads_as=(reads,),
        options={"profile": profile},
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
    )


_TABLE = (
    _prores("prores-proxy", "proxy", "Proxy"),
    _prores("prores-lt", "lt", "LT"),
    _prores("prores-422", "standard", "Standard"),
    _dnx("dnxhr-lb", "dnxhr_lb", "DNXHR LB"),
    _dnx("dnxhr-sq", "dnxhr_sq", "DNXHR SQ"),
    _dnx("dnxhr-hqx", "dnxhr_hqx", "DNXHR HQX", "yuv422p10le", 10),
    Codec(
        name="dnxhd",
        encoder="dnxhd",
        pixel_format="yuv422p",
        bits=8,
        containers=("mxf", "mov"),
        profile="dnxhd",
        reads_as=("DNXHD",),
        options={"profile": "dnxhd"},
        hd_only=True,
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
        levels="full",
        siting="centre",
        matrix=5,
        quality=4,
    ),
)

CODECS = {c.name: c for c in _TABLE}

# DNxHD bit rates in Mbit/s (SMPTE ST 2019-1, table of compression IDs 1253 and 1237/1238 as FFmpeg lists them) for
# 1920x1080 progressive 8-bit, the "36 at 24" class that proxies use.
_DNXHD = {"23.976": 36, "24": 36, "25": 36, "29.97": 45, "30": 45, "50": 75, "59.94": 90, "60": 90}


def codec(name: str) -> Codec:
    """The codec of that name. RecipeError listing the table, with the nearest name."""
    found = CODECS.get(name.strip().lower().replace(" ", "-").replace("_", "-"))
    if found:
        return found
    near = difflib.get_close_matches(name.lower(), CODECS, 1)
    hint = f"; did you mean {near[0]!r}?" if near else ""
    raise RecipeError(f"{name!r} is no codec; takes {', '.join(CODECS)}{hint}", key="codec")


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
    quality: float | None = None,
    preset: str = "",
    peak: float | None = None,
) -> dict[str, str]:
    """Every option the encoder is given. `quality` is CRF (h264, hevc) or the quantiser (mjpeg); `peak` Mbit/s.

    A peak cap holds over any second, joins included: each segment starts with its rate buffer only half full
    and the buffer is half a second, so two neighbours together cannot exceed the cap by more than they hold.
    """
    options = dict(which.options)
    level = which.quality if quality is None else quality
    if which.name == "dnxhd":
        options["b"] = f"{_DNXHD.get(str(rate), 36)}M"
    if which.encoder == "mjpeg":
        options["flags"] = "+qscale"
        options["global_quality"] = str(int(118 * (level or 4)))  # FF_QP2LAMBDA
    if which.intra:
        return options
    gop = gop_frames(rate)
    options["preset"] = preset or "veryfast"
    options["crf"] = f"{level:g}"
    cap = ""
    if peak:
        kilobits = int(peak * 1000)
        cap = f":vbv-maxrate={kilobits // 2}:vbv-bufsize={kilobits // 2}:vbv-init=0.5"
    if which.encoder == "libx264":
        options["profile"] = which.profile
        options["x264-params"] = (
            f"keyint={gop}:min-keyint={gop}:scenecut=0:open-gop=0:threads=1:stitchable=1:log-level=none{cap}"
        )
    else:
        options["profile"] = which.profile
        options["x265-params"] = (
            f"keyint={gop}:min-keyint={gop}:scenecut=0:open-gop=0:pools=none:frame-threads=1:repeat-headers=0:log-level=none:info=0{cap}"
        )
    return options
