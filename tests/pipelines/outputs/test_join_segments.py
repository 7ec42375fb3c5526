"""Joins: every frame in its place, every sample of the sound, the same bytes again."""

import hashlib
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

import independent
from movies import made, segments_of, tags_for, tone
from pictures import frame_of, number_of
from rushlight.pipelines.errors import DeliveryError
from rushlight.pipelines.formats.codecs import codec
from rushlight.pipelines.formats.movie_format import MovieFormat
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.outputs.join_segments import Sound, join
from rushlight.pipelines.outputs.readback import check, read_back
from rushlight.pipelines.outputs.sound_tracks import track_list


@pytest.mark.parametrize("name", ["h264", "hevc-10", "prores-lt"])
@pytest.mark.parametrize("tail", [1, 2, 3])
def test_frames_are_in_order_over_joins(name: str, tail: int, tmp_path: Path) -> None:
    """A last segment of one, two or three pictures reorders less than the others; nothing is shown late for it."""
    rate = FrameRate.parse("23.976")
    counts = [24, 24, tail]
    path = made(tmp_path, codec(name), "mov", rate, Timecode(frames=0, rate=rate), counts)
    assert read_back(path).even
    shown = independent.raw_frames(path, "gray", 256, 144)
    assert len(shown) == sum(counts)
    gray = [frame_of("yuv444p", picture, picture, picture) for picture in shown]
    assert [number_of(frame) for frame in gray] == list(range(sum(counts)))


@pytest.mark.parametrize("name", ["h264", "h264-10", "hevc", "hevc-10"])
@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_very_short_movies(name: str, count: int, tmp_path: Path) -> None:
    """libx265 gives the first pictures of a very short segment any decoding time: it is not asked."""
    rate = FrameRate.parse(24)
    which = codec(name)
    digests = set()
    for _ in range(2):
        (path,) = segments_of(tmp_path, which, rate, [count])
        digests.add(hashlib.sha256(path.read_bytes()).hexdigest())
    assert len(digests) == 1
    sound = Sound(channels=1, samples=2000 * count, blocks=[tone(1, 2000 * count)])
    path = made(tmp_path, which, "mp4", rate, Timecode(frames=0, rate=rate), [count], sound=sound)
    assert check(read_back(path), {"frames": count, "rate": "24", "sound_samples": (2000 * count,)}) == []
    assert independent.count(path) == count


@pytest.mark.parametrize("preset", ["superfast", "medium", pytest.param("veryslow", marks=pytest.mark.slow)])
@pytest.mark.parametrize("name", ["h264", "hevc-10"])
def test_presets_join_alike(name: str, preset: str, tmp_path: Path) -> None:
    """However deep a preset reorders, segments have one setting and frames their place."""
    which, rate, counts = codec(name), FrameRate.parse(24), [24, 10]
    paths = segments_of(tmp_path, which, rate, counts, preset=preset, quality=30)
    final = tmp_path / "a.mov"
    tags, timecode = tags_for(which), Timecode(frames=0, rate=rate)
    settings = {
        "width": 256,
        "height": 144,
        "rate": rate,
        "tags": tags,
        "preset": preset,
    }
    join(paths, counts, final, MovieFormat(codec=which, container="mov", **settings), timecode=timecode)  # type: ignore[arg-type]
    assert check(read_back(final), {"frames": 34, "profile": which.reads_as}) == []
    assert independent.count(final) == 34


def test_joins_are_the_same_bytes_every_time(tmp_path: Path) -> None:
    rate = FrameRate.parse(24)
    for which, container in (
        ("dnxhr-lb", "mov"),
        ("dnxhr-lb", "mxf"),
        ("h264", "mp4"),
        ("hevc-10", "mp4"),
        ("mjpeg", "mov"),
    ):
        digests = set()
        for attempt in ("a", "b"):
            folder = tmp_path / f"{which}{container}{attempt}"
            folder.mkdir()
            sound = Sound(channels=3, samples=106000, blocks=[tone(3, 106000)])
            path = made(
                folder,
                codec(which),
                container,
                rate,
                Timecode(frames=86400, rate=rate),
                [24, 24, 5],
                sound=sound,
            )
            digests.add(hashlib.sha256(path.read_bytes()).hexdigest())
        assert len(digests) == 1


def test_intra_joins_equal_a_single_pass(tmp_path: Path) -> None:
    rate = FrameRate.parse(25)
    timecode = Timecode(frames=0, rate=rate)
    for name in ("dnxhr-lb", "prores-proxy", "mjpeg"):
        (tmp_path / f"{name}1").mkdir()
        (tmp_path / f"{name}2").mkdir()
        joined = made(tmp_path / f"{name}1", codec(name), "mov", rate, timecode, [10, 10, 4])
        single = made(tmp_path / f"{name}2", codec(name), "mov", rate, timecode, [24])
        assert joined.read_bytes() == single.read_bytes()


@pytest.mark.parametrize("rate", ["23.976", "29.97", "59.94", "25"])
@pytest.mark.parametrize(("name", "container"), [("dnxhr-lb", "mov"), ("dnxhr-lb", "mxf"), ("h264", "mp4")])
def test_sound_is_as_long_as_the_pictures_to_the_sample(
    rate: str, name: str, container: str, tmp_path: Path
) -> None:
    found = FrameRate.parse(rate)
    counts = [2 * found.nominal, 7]
    total = round(sum(counts) * 48000 / found.fraction)
    blocks = np.array_split(tone(2, total), 13, axis=1)  # as they come, not as frames lie
    sound = Sound(channels=2, samples=total, blocks=blocks)
    delivered = read_back(
        made(tmp_path, codec(name), container, found, Timecode(frames=0, rate=found), counts, sound=sound)
    )
    assert set(delivered.sound_samples) == {total}


def test_sound_that_ends_early_goes_on_in_silence(tmp_path: Path) -> None:
    rate = FrameRate.parse("29.97")
    total = round(61 * 48000 / Fraction(30000, 1001))
    sound = Sound(channels=2, samples=total, blocks=[tone(2, 30000)])
    heard = independent.sound(
        made(tmp_path, codec("dnxhr-lb"), "mov", rate, Timecode(frames=0, rate=rate), [30, 31], sound=sound)
    )
    assert heard.shape == (2, total)
    assert (heard[:, :30000] == tone(2, 30000) >> 8 << 8).all()  # 24 bits are kept
    assert not heard[:, 30000:].any()


@pytest.mark.parametrize(
    ("container", "channels", "tracks", "each"),
    [
        ("mov", 4, (), [4]),
        ("mov", 4, (1, 1, 2), [1, 1, 2]),
        ("mov", 9, (), [9]),
        ("mov", 16, (1,) * 16, [1] * 16),
        ("mxf", 3, (), [1, 1, 1]),
        ("mp4", 1, (), [1]),
        ("mp4", 2, (1, 1), [2]),
        ("mp4", 5, (), [1] * 5),
    ],
)
def test_tracks_keep_every_channel_in_order(
    container: str, channels: int, tracks: tuple[int, ...], each: list[int], tmp_path: Path
) -> None:
    rate = FrameRate.parse(24)
    samples = 12000
    sound = Sound(channels=channels, samples=samples, blocks=[tone(channels, samples)], tracks=tracks)
    name = "h264" if container == "mp4" else "dnxhr-lb"
    path = made(tmp_path, codec(name), container, rate, Timecode(frames=0, rate=rate), [6], sound=sound)
    delivered = read_back(path)
    assert delivered.sound == track_list(sound, container)
    assert [n for _, n, _ in delivered.sound] == each
    if container == "mp4":
        return
    heard = np.concatenate([independent.sound(path, track, n) for track, n in enumerate(each)])
    assert (heard == tone(channels, samples) >> 8 << 8).all()
    if container == "mov":
        assert "chan" not in delivered.metadata
        for track in range(len(each)):
            assert (
                "(default)"
                in [line for line in independent.said(path).splitlines() if "Audio:" in line][track]
            )


@pytest.mark.parametrize("container", ["mov", "mp4"])
def test_free_metadata_comes_back(container: str, tmp_path: Path) -> None:
    rate, which = FrameRate.parse(24), codec("h264")
    given = {"scene": "12A", "note": 'two; lines = "one"\nof two', "clip": "Ünï 漢字", "reel": "A001"}
    paths = segments_of(tmp_path, which, rate, [2])
    final = tmp_path / "a"
    settings = {"width": 256, "height": 144, "rate": rate, "tags": tags_for(which)}
    timecode = Timecode(frames=0, rate=rate)
    join(
        paths,
        [2],
        final,
        MovieFormat(codec=which, container=container, **settings),
        timecode=timecode,
        metadata=given,
    )  # type: ignore[arg-type]
    delivered = read_back(final)
    assert {k: delivered.metadata.get(k) for k in given} == given
    assert delivered.reel == "A001"


def test_segments_that_do_not_fit_are_refused(tmp_path: Path) -> None:
    rate = FrameRate.parse(24)
    for name, change, says in (
        ("dnxhr-lb", {}, "2 pictures instead of 3"),
        ("h264", {"width": 320}, "different settings"),
    ):
        which = codec(name)
        (tmp_path / name).mkdir()
        paths = segments_of(tmp_path, which, rate, [2]) + segments_of(
            tmp_path / name, which, rate, [2], **change
        )
        with pytest.raises(DeliveryError, match=says):
            join(
                paths,
                [2, 3 if name == "dnxhr-lb" else 2],
                tmp_path / "o",
                MovieFormat(
                    codec=which, container="mov", width=256, height=144, rate=rate, tags=tags_for(which)
                ),
                timecode=Timecode(frames=0, rate=rate),
            )
