"""The codec table: closed, every option known to its encoder, and what it refuses before a file is opened."""

from dataclasses import replace
from fractions import Fraction

import av
import pytest

from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.formats.codecs import (
    CODECS,
    PRESETS,
    Codec,
    Tags,
    codec,
    encoder_options,
    gop_frames,
    output_faults,
    rate_fault,
    segment_frames,
    siting,
)
from rushlight.pipelines.formats.movie_format import MovieFormat
from rushlight.pipelines.formats.pixel_formats import find_pixel_format
from rushlight.pipelines.formats.timecode import FrameRate
from rushlight.pipelines.outputs.segment_writer import new_picture_stream

RATE = FrameRate.parse(24)
SDR = Tags(primaries=1, transfer=1, matrix=1)


def size_of(which: Codec) -> tuple[int, int]:
    return next(iter(which.bit_rates), (640, 360))


@pytest.mark.parametrize("which", CODECS.values(), ids=lambda c: c.name)
def test_every_option_is_known_to_its_encoder(which: Codec) -> None:
    """Encoders ignore what they do not know: the table is held against their own lists, and opened without a word."""
    options = encoder_options(
        which, rate=RATE, size=size_of(which), tags=SDR, peak=None if which.intra else 4
    )
    known = av.CodecContext.create(which.encoder, "w").supported_options
    names = {o.name: o for o in (*known.generic, *known.private)}
    assert set(options) <= set(names) | {"x265-params", "x264-params"}
    if which.profile and which.encoder in ("prores_ks", "dnxhd"):
        assert which.profile in [c.name for c in names["profile"].choices]
    with av.open("/dev/null", "w", format="mov") as container:
        size = size_of(which)
        movie = MovieFormat(codec=which, container="mov", width=size[0], height=size[1], rate=RATE, tags=SDR)
        stream = new_picture_stream(container, replace(movie, peak=None if which.intra else 4))
        av.logging.set_level(av.logging.WARNING)
        try:
            with av.logging.Capture() as said:
                stream.codec_context.open()
        finally:
            av.logging.set_level(None)
        assert said == []


@pytest.mark.parametrize("which", CODECS.values(), ids=lambda c: c.name)
def test_the_table_agrees_with_the_pixel_formats(which: Codec) -> None:
    pixel_format = find_pixel_format(which.pixel_format)
    assert pixel_format is not None and pixel_format.bits == which.bits
    assert pixel_format.full_by_name == (which.levels == "full")


@pytest.mark.parametrize(
    "rate", ["1", "23.976", "24", "25", "29.97", "47.952", "48", "50", "59.94", "119.88", "12.5"]
)
def test_groups_of_pictures_divide_a_segment_of_two_seconds(rate: str) -> None:
    found = FrameRate.parse(rate)
    assert segment_frames(found) % gop_frames(found) == 0
    assert Fraction(19, 10) <= found.seconds(segment_frames(found)) <= Fraction(21, 10)


def test_where_chroma_sits() -> None:
    wide = Tags(primaries=9, transfer=16, matrix=9)
    assert siting(codec("h264"), SDR) == "left"
    assert siting(codec("hevc-10"), wide) == "top-left"  # ITU-R BT.2100-2, table 6
    assert siting(codec("prores-422"), wide) == "left"
    assert siting(codec("mjpeg"), Tags(matrix=5, levels="full")) == "centre"  # JFIF 1.02


def test_a_peak_cap_is_shared_out_whole() -> None:
    """Rate, buffer and the next segment's first filling make the cap: what two neighbours can spend in a second."""
    for name in ("h264", "hevc-10"):
        options = encoder_options(codec(name), rate=RATE, size=(640, 360), tags=SDR, peak=8)
        params = dict(p.split("=") for p in options[f"{codec(name).encoder[3:]}-params"].split(":"))
        rate, buffer = int(params["vbv-maxrate"]), int(params["vbv-bufsize"])
        assert rate + buffer + buffer * float(params["vbv-init"]) == pytest.approx(8000, rel=1e-3)


@pytest.mark.parametrize(
    ("name", "asked", "key", "says"),
    [
        ("prores-lt", {"container": "mp4"}, "container", "prores-lt goes into mov or mxf, not mp4"),
        ("h264", {"container": "mxf"}, "container", "mp4 or mov"),
        ("mjpeg", {"container": "mxf"}, "container", "mov"),
        ("dnxhd", {"size": (1998, 1080)}, "size", "1920x1080 and 1280x720 only"),
        ("dnxhr-lb", {"size": (192, 108)}, "size", "256x120 and larger"),
        ("prores-lt", {"quality": 4}, "quality", "no quality scale"),
        ("h264", {"quality": 0}, "quality", "takes 1 (best) to 51"),
        ("mjpeg", {"quality": 40}, "quality", "takes 2 (best) to 31"),
        ("dnxhr-lb", {"preset": "slow"}, "preset", "no presets"),
        ("hevc", {"preset": "slowest"}, "preset", "veryslow"),
        ("mjpeg", {"peak": 4}, "peak", "no peak cap"),
        ("hevc", {"transfer": 16}, "codec", "10-bit"),
    ],
)
def test_what_a_codec_does_not_take(name: str, asked: dict[str, object], key: str, says: str) -> None:
    faults = output_faults(codec(name), **asked)  # type: ignore[arg-type]
    assert [f[0] for f in faults] == [key]
    assert says in faults[0][1]
    if "container" not in asked and "transfer" not in asked:
        given = {"size": size_of(codec(name)), **asked}
        with pytest.raises(RecipeError) as caught:
            encoder_options(codec(name), rate=RATE, tags=SDR, **given)  # type: ignore[arg-type]
        assert caught.value.key == key


def test_what_a_codec_does_take() -> None:
    for which in CODECS.values():
        for container in which.containers:
            assert output_faults(which, container=container, size=size_of(which), quality=which.quality) == []
    for preset in PRESETS:
        assert output_faults(codec("h264"), preset=preset, peak=4) == []


def test_rates_that_mxf_does_not_hold() -> None:
    for rate in ("23.976", "24", "25", "29.97", "30", "47.952", "48", "50", "59.94", "60", "120"):
        assert rate_fault(codec("dnxhr-lb"), "mxf", FrameRate.parse(rate)) == ""
    assert "119.88; mov holds any" in rate_fault(codec("dnxhr-lb"), "mxf", FrameRate.parse("119.88"))
    assert rate_fault(codec("dnxhr-lb"), "mov", FrameRate.parse("119.88")) == ""


def test_the_table_is_closed() -> None:
    assert codec("DNxHR LB").name == "dnxhr-lb"
    with pytest.raises(RecipeError, match="did you mean 'prores-lt'") as caught:
        codec("prores-ltt")
    assert caught.value.key == "codec" and all(name in caught.value.text for name in CODECS)
