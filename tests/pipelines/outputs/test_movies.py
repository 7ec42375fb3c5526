"""Codecs, containers and rates: written in segments, joined, read back by ourselves and by an outsider."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import independent
from movies import made, segments_of, size_of, tags_for, tone
from pictures import frame_of, texture
from rushlight.pipelines.errors import DeliveryError, RecipeError, ResourceError
from rushlight.pipelines.formats.codecs import CODECS, Codec, Tags, codec, gop_frames, readable_tags
from rushlight.pipelines.formats.movie_format import MovieFormat
from rushlight.pipelines.formats.pixel_formats import find_pixel_format
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.outputs.join_segments import Sound, join
from rushlight.pipelines.outputs.readback import check, expected, read_back, tags_of
from rushlight.pipelines.outputs.segment_writer import MovieWriter

RATES = ["23.976", "24", "25", "29.97 ;", "29.97", "30", "47.952", "48", "50", "59.94 ;", "59.94"]
PAIRS = [(c.name, container) for c in CODECS.values() for container in c.containers]


def judged(path: Path, which: Codec, container: str, timecode: Timecode, frames: int, sound: Sound) -> None:
    rate, (width, height) = timecode.rate, size_of(which)
    wanted = expected(
        MovieFormat(
            codec=which, container=container, width=width, height=height, rate=rate, tags=tags_for(which)
        ),
        frames=frames,
        timecode=timecode,
        reel="A001" if container != "mp4" else "",
        sound=sound,
    )
    assert check(read_back(path), wanted) == []
    assert independent.count(path) == frames
    assert Timecode.parse(independent.timecode(path), rate) == timecode
    said = independent.said(path)
    assert ("(tv, bt709" if which.levels == "narrow" else "(pc, bt470bg/bt709/bt709") in said
    if container != "mp4":
        assert "reel_name" in said and "A001" in said
    samples = independent.sound(path)
    # an outsider's AAC decoder gives whole frames; PCM is heard as it was, to 24 bits
    assert sound.samples <= samples.shape[1] <= sound.samples + (2047 if container == "mp4" else 0)
    if container != "mp4":
        assert (samples[0] == tone(1, sound.samples)[0] >> 8 << 8).all()


@pytest.mark.parametrize(("index", "pair"), list(enumerate(PAIRS)))
def test_every_codec_and_container(index: int, pair: tuple[str, str], tmp_path: Path) -> None:
    """Each pair at one rate, the rates going round: pairwise over the table."""
    one(pair, RATES[index % len(RATES)], tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("text", RATES)
@pytest.mark.parametrize("pair", PAIRS)
def test_every_codec_container_and_rate(pair: tuple[str, str], text: str, tmp_path: Path) -> None:
    one(pair, text, tmp_path)


def one(pair: tuple[str, str], text: str, tmp_path: Path) -> None:
    which, container = codec(pair[0]), pair[1]
    rate = FrameRate.parse(text.split()[0])
    timecode = Timecode.parse("23:59:59;20" if ";" in text else "23:59:59:20", rate)
    gop = gop_frames(rate) if not which.intra else 6
    counts = [gop, gop, 1] if not which.bit_rates else [2, 1]
    total = round(sum(counts) * 48000 / rate.fraction)
    sound = Sound(channels=2, samples=total, blocks=[tone(2, total)])
    path = made(tmp_path, which, container, rate, timecode, counts, sound=sound)
    judged(path, which, container, timecode, sum(counts), sound)


COLOURS = [
    Tags(matrix=1),  # log: no display is claimed
    Tags(matrix=9),
    Tags(matrix=5, levels="full"),
    Tags(primaries=12, transfer=17, matrix=1),
    Tags(primaries=1, transfer=13, matrix=1),
    Tags(primaries=9, transfer=14, matrix=9),
    Tags(primaries=9, transfer=16, matrix=9),
    Tags(primaries=9, transfer=18, matrix=9),
]


@pytest.mark.parametrize("pair", PAIRS)
def test_tags_of_every_display(pair: tuple[str, str], tmp_path: Path) -> None:
    which, container = codec(pair[0]), pair[1]
    rate, size = FrameRate.parse(24), size_of(which)
    for tags in COLOURS:
        if which.bits < 10 and (tags.transfer in (2, 16, 18)):
            continue  # log and HDR are for ten bits
        if which.matrix:
            tags = replace(tags, matrix=which.matrix, levels=which.levels)
        paths = segments_of(tmp_path, which, rate, [1], tags=tags)
        final = tmp_path / f"a.{container}"
        settings = {"codec": which, "container": container, "width": size[0], "height": size[1], "rate": rate}
        join(paths, [1], final, MovieFormat(tags=tags, **settings), timecode=Timecode(frames=0, rate=rate))  # type: ignore[arg-type]
        outside, inside = readable_tags(which, container, tags)
        assert check(read_back(final), {"tags": tags_of(outside), "picture_tags": tags_of(inside)}) == []


# 100 % bars, BT.709 and BT.601 by the formulas of ITU-R BT.709-6 item 3.4 and BT.601-7 table 3 (10-bit for 709):
BARS_709 = [
    (940, 512, 512),
    (877, 64, 553),
    (754, 615, 64),
    (691, 167, 105),
    (313, 857, 919),
    (250, 409, 960),
]
BARS_JPEG = [(255, 128, 128), (226, 1, 149), (179, 171, 1), (150, 44, 21), (105, 212, 235), (76, 85, 255)]


@pytest.mark.parametrize("name", CODECS)
def test_patches_keep_their_codes_through_the_codec(name: str, tmp_path: Path) -> None:
    """Six flat patches, read by an outsider: the codec's own loss is all that may be there."""
    which = codec(name)
    rate = FrameRate.parse(24)
    pixel_format = find_pixel_format(which.pixel_format)
    assert pixel_format is not None
    width, height = size_of(which)
    unit = 4 if which.bits == 8 else 1
    bars = BARS_JPEG if which.levels == "full" else [tuple(round(c / unit) for c in bar) for bar in BARS_709]
    flat = []
    for k in range(3):
        sub_x, sub_y = (pixel_format.sub_x, pixel_format.sub_y) if k else (1, 1)
        row = np.repeat([bar[k] for bar in bars], width // 6 // 2 * 2 // sub_x)
        row = np.pad(row, (0, width // sub_x - row.size), mode="edge")
        flat.append(np.tile(row, (height // sub_y, 1)).astype(pixel_format.dtype))
    path = tmp_path / "a.part"
    with MovieWriter(
        path,
        MovieFormat(
            codec=which, container="mov", width=width, height=height, rate=rate, tags=tags_for(which)
        ),
    ) as writer:
        for _ in range(2):
            writer.write(frame_of(which.pixel_format, *flat))
    samples = independent.raw(path, which.pixel_format, width, height, 1)
    start = 0
    for k in range(3):
        shape = flat[k].shape
        plane = samples[start : start + shape[0] * shape[1]].reshape(shape).astype(float)
        start += shape[0] * shape[1]
        step = shape[1] // 6
        for index, bar in enumerate(bars):
            middle = plane[
                shape[0] // 4 : -(shape[0] // 4), index * step + step // 3 : (index + 1) * step - step // 3
            ]
            assert abs(middle.mean() - bar[k]) <= 1.5 * 4 / unit, (k, bar, middle.mean())


@pytest.mark.parametrize(
    ("name", "tags", "says"),
    [("h264", (1, 1, 1), "left"), ("hevc-10", (9, 16, 9), "topleft"), ("h264-10", (9, 14, 9), "topleft")],
)
def test_chroma_siting_is_said(name: str, tags: tuple[int, int, int], says: str, tmp_path: Path) -> None:
    primaries, transfer, matrix = tags
    tagged = Tags(primaries=primaries, transfer=transfer, matrix=matrix)
    rate = FrameRate.parse(24)
    (path,) = segments_of(tmp_path, codec(name), rate, [2], tags=tagged)
    final = tmp_path / "a.mp4"
    join(
        [path],
        [2],
        final,
        MovieFormat(codec=codec(name), container="mp4", width=256, height=144, rate=rate, tags=tagged),
        timecode=Timecode(frames=0, rate=rate),
    )
    picture = next(line for line in independent.said(final, "verbose").splitlines() if "Video:" in line)
    assert f", {says})" in picture or f", {says}," in picture
    assert read_back(final).picture_tags == (*tags, "narrow")


def hard_pictures(which: Codec, number: int) -> object:
    """Calm, then noise from half a second before a join to as long after it: what a rate buffer likes least."""
    pixel_format = find_pixel_format(which.pixel_format)
    assert pixel_format is not None
    rng = np.random.default_rng(number)
    storm = not 12 <= number % 48 < 36
    planes = []
    for sub in ((1, 1), (pixel_format.sub_x, pixel_format.sub_y), (pixel_format.sub_x, pixel_format.sub_y)):
        shape = (144 // sub[1], 256 // sub[0])
        values = rng.random(shape) if storm else np.full(shape, 0.5)
        planes.append((values * ((1 << pixel_format.bits) - 1)).astype(pixel_format.dtype))
    return frame_of(which.pixel_format, *planes)


@pytest.mark.parametrize("card", [0, 1, 10])
@pytest.mark.parametrize("name", ["h264", "h264-10", "hevc", "hevc-10"])
def test_a_peak_cap_holds_over_any_second(name: str, card: int, tmp_path: Path) -> None:
    """Joins included, and a slate card's short segment ahead of them, which is hard to encode too."""
    which, rate = codec(name), FrameRate.parse(24)
    cap, paths, counts = 0.4, [], [*([card] if card else []), 48, 48, 12]
    for index, count in enumerate(counts):
        paths.append(tmp_path / f"{index}.part")
        with MovieWriter(
            paths[-1],
            MovieFormat(
                codec=which,
                container="mov",
                width=256,
                height=144,
                rate=rate,
                tags=tags_for(which),
                quality=12,
                peak=cap,
            ),
        ) as writer:
            for n in range(count):
                storm = 0 if card and not index else 48 * (index - bool(card)) + n
                writer.write(hard_pictures(which, storm))  # type: ignore[arg-type]
    final = tmp_path / "a.mp4"
    join(
        paths,
        counts,
        final,
        MovieFormat(codec=which, container="mp4", width=256, height=144, rate=rate, tags=tags_for(which)),
        timecode=Timecode(frames=0, rate=rate),
    )
    delivered = read_back(final)
    assert 0.35 * cap < delivered.peak <= cap  # it was pressed, and it held
    assert check(delivered, {"peak": cap}) == []
    assert "should be at most 0.01" in check(delivered, {"peak": 0.01})[0]
    sizes = independent.packet_sizes(final)  # and in the order of showing, by an outsider
    assert max(sum(sizes[n : n + 24]) for n in range(len(sizes))) * 8 / 1e6 <= cap


def test_an_abandoned_writer_leaves_no_complete_movie(tmp_path: Path) -> None:
    path = tmp_path / "a.part"
    with (
        pytest.raises(RuntimeError),
        MovieWriter(
            path,
            MovieFormat(
                codec=codec("dnxhr-lb"),
                container="mov",
                width=256,
                height=144,
                rate=FrameRate.parse(24),
                tags=Tags(),
            ),
        ) as writer,
    ):
        writer.write(texture("yuv422p", 256, 144))
        raise RuntimeError
    try:
        assert (
            read_back(path).frames < 2
        )  # what is left is the caller's to delete; nothing takes it for whole
    except DeliveryError:
        pass


def test_a_full_disk_is_a_shortage(tmp_path: Path) -> None:
    rate = FrameRate.parse(24)
    settings = {
        "codec": codec("dnxhr-lb"),
        "container": "mov",
        "width": 256,
        "height": 144,
        "rate": rate,
        "tags": Tags(),
    }
    full = Path("/dev/full")
    with (
        pytest.raises(ResourceError, match="no space"),
        MovieWriter(full, MovieFormat(**settings)) as writer,  # type: ignore[arg-type]
    ):
        for n in range(60):
            writer.write(texture("yuv422p", 256, 144, n))
    paths = segments_of(tmp_path, codec("dnxhr-lb"), rate, [4])
    with pytest.raises(ResourceError, match="no space"):
        join(paths, [4], full, MovieFormat(**settings), timecode=Timecode(frames=0, rate=rate))  # type: ignore[arg-type]


def test_what_a_codec_does_not_take_is_said_before_anything_is_written(tmp_path: Path) -> None:
    with pytest.raises(RecipeError, match="1920x1080"):
        MovieWriter(
            tmp_path / "a",
            MovieFormat(
                codec=codec("dnxhd"),
                container="mov",
                width=640,
                height=360,
                rate=FrameRate.parse(24),
                tags=Tags(),
            ),
        )


def test_check_names_every_difference(tmp_path: Path) -> None:
    rate = FrameRate.parse(24)
    delivered = read_back(
        made(tmp_path, codec("dnxhr-lb"), "mov", rate, Timecode(frames=86400, rate=rate), [4])
    )
    faults = check(
        delivered,
        {
            "frames": 5,
            "first_timecode": "01:00:00:01",
            "reel": "B001",
            "rate": "25",
            "sound": (("aac", 2, 48000),),
        },
    )
    assert [f.split(" is ")[0] for f in faults] == ["frames", "first timecode", "reel", "rate", "sound"]


@pytest.mark.parametrize("rate", ["1", "6", "12.5", "119.88", "240"])
def test_odd_rates_in_mov(rate: str, tmp_path: Path) -> None:
    """A reader writes the frames of slow rates with one digit and of fast ones with three; they are the same label."""
    found = FrameRate.parse(rate)
    timecode = (
        Timecode(frames=found.nominal * 3600 + 1, rate=found)
        if rate != "1"
        else Timecode(frames=3600, rate=found)
    )
    delivered = read_back(made(tmp_path, codec("dnxhr-lb"), "mov", found, timecode, [4]))
    assert check(delivered, {"frames": 4, "rate": rate, "first_timecode": str(timecode)}) == []
    assert check(delivered, {"first_timecode": str(timecode + 1)}) != []
