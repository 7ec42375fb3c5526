"""Codecs, containers and rates: written in segments, joined, read back by ourselves and by an outsider."""

import hashlib
from fractions import Fraction
from pathlib import Path

import independent
import numpy as np
import pytest
from pictures import texture
from rushlight.pipelines.codecs import CODECS, Codec, Tags, codec, gop_frames, segment_frames
from rushlight.pipelines.errors import DeliveryError, RecipeError, ResourceError
from rushlight.pipelines.join import Sound, join
from rushlight.pipelines.readback import check, read_back, tags_of
from rushlight.pipelines.timecode import FrameRate, Timecode
from rushlight.pipelines.writers import MovieWriter

RATES = ["23.976", "24", "25", "29.97 ;", "29.97", "30", "47.952", "48", "50", "59.94 ;", "59.94"]
PAIRS = [(c.name, container) for c in CODECS.values() for container in c.containers]


def made(
    tmp: Path,
    which: Codec,
    container: str,
    rate: FrameRate,
    timecode: Timecode,
    counts: list[int],
    *,
    sound: bool = True,
) -> Path:
    size = (1920, 1080) if which.hd_only else (256, 144)
    tags = Tags(primaries=1, transfer=1, matrix=which.matrix or 1, levels=which.levels)
    segments, number = [], 0
    for index, count in enumerate(counts):
        path = tmp / f"{which.name}-{index}.part"
        with MovieWriter(
            path, codec=which, container="mov", width=size[0], height=size[1], rate=rate, tags=tags
        ) as writer:
            for _ in range(count):
                writer.write(texture(which.pixel_format, *size, number))
                number += 1
        segments.append(path)
    total = round(number * 48000 / rate.fraction)
    tone = (np.sin(np.arange(total) / 20) * 2**28).astype(np.int32)
    final = tmp / f"{which.name}.{container}"
    join(
        segments,
        counts,
        final,
        codec=which,
        container=container,
        width=size[0],
        height=size[1],
        rate=rate,
        tags=tags,
        timecode=timecode,
        reel="A001",
        sound=Sound(channels=2, samples=total, blocks=[np.stack([tone, tone])]) if sound else None,
    )
    return final


def judged(
    path: Path, which: Codec, container: str, rate: FrameRate, timecode: Timecode, frames: int
) -> None:
    delivered = read_back(path)
    tags = tags_of(Tags(primaries=1, transfer=1, matrix=which.matrix or 1, levels=which.levels))
    wanted = {
        "frames": frames,
        "rate": str(rate),
        "first_timecode": str(timecode),
        "profile": which.reads_as,
        "tags": tags,
        "picture_tags": tags,
        "pixel_format": which.pixel_format,
    }
    if container != "mp4":
        wanted["reel"] = "A001"
    assert check(delivered, wanted) == []
    assert independent.count(path) == frames
    assert Timecode.parse(independent.timecode(path), rate) == timecode
    said = independent.said(path)
    if which.levels == "narrow":
        assert "(tv, bt709" in said
    if container != "mp4":
        assert "reel_name" in said and "A001" in said


@pytest.mark.parametrize(("index", "pair"), list(enumerate(PAIRS)))
def test_every_codec_and_container(index: int, pair: tuple[str, str], tmp_path: Path) -> None:
    """Each pair at one rate, the rates going round: pairwise over the table."""
    text = RATES[index % len(RATES)]
    one(pair, text, tmp_path)


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
    counts = [gop, gop, 3] if not which.hd_only else [2, 1]
    path = made(tmp_path, which, container, rate, timecode, counts)
    judged(path, which, container, rate, timecode, sum(counts))


def test_joins_are_the_same_bytes_every_time(tmp_path: Path) -> None:
    rate = FrameRate.parse(24)
    for which, container in (("dnxhr-lb", "mov"), ("dnxhr-lb", "mxf"), ("h264", "mp4")):
        digests = set()
        for attempt in ("a", "b"):
            folder = tmp_path / f"{which}{container}{attempt}"
            folder.mkdir()
            path = made(folder, codec(which), container, rate, Timecode(frames=86400, rate=rate), [24, 24, 5])
            digests.add(hashlib.sha256(path.read_bytes()).hexdigest())
        assert len(digests) == 1


def test_intra_joins_equal_a_single_pass(tmp_path: Path) -> None:
    rate = FrameRate.parse(25)
    timecode = Timecode(frames=0, rate=rate)
    for name in ("dnxhr-lb", "prores-proxy"):
        (tmp_path / f"{name}1").mkdir()
        (tmp_path / f"{name}2").mkdir()
        joined = made(tmp_path / f"{name}1", codec(name), "mov", rate, timecode, [10, 10, 4], sound=False)
        single = made(tmp_path / f"{name}2", codec(name), "mov", rate, timecode, [24], sound=False)
        assert joined.read_bytes() == single.read_bytes()


def test_pcm_is_sample_exact_and_aac_is_as_long_as_the_pictures(tmp_path: Path) -> None:
    rate = FrameRate.parse("29.97")
    timecode = Timecode(frames=0, rate=rate)
    frames = 61
    total = round(frames * 48000 / Fraction(30000, 1001))
    pcm = independent.sound(made(tmp_path, codec("dnxhr-lb"), "mov", rate, timecode, [30, 31]))
    tone = (np.sin(np.arange(total) / 20) * 2**28).astype(np.int32)
    assert pcm.shape == (2, total)
    assert (pcm == (tone >> 8 << 8)).all()  # 24 bits are kept
    delivered = read_back(made(tmp_path, codec("h264"), "mp4", rate, timecode, [30, 31]))
    assert delivered.sound == (("aac", 2, 48000),)
    assert delivered.sound_seconds == pytest.approx(total / 48000, abs=1024 / 48000)


def test_sound_in_mxf_is_mono_tracks(tmp_path: Path) -> None:
    rate = FrameRate.parse(25)
    delivered = read_back(made(tmp_path, codec("dnxhr-lb"), "mxf", rate, Timecode(frames=0, rate=rate), [6]))
    assert delivered.sound == (("pcm_s24le", 1, 48000),) * 2


def test_an_abandoned_writer_leaves_no_complete_movie(tmp_path: Path) -> None:
    path = tmp_path / "a.part"
    with (
        pytest.raises(RuntimeError),
        MovieWriter(
            path,
            codec=codec("dnxhr-lb"),
            container="mov",
            width=256,
            height=144,
            rate=FrameRate.parse(24),
            tags=Tags(),
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


def test_a_short_segment_is_refused(tmp_path: Path) -> None:
    rate = FrameRate.parse(24)
    tags = Tags(primaries=1, transfer=1, matrix=1)
    path = tmp_path / "s.part"
    with MovieWriter(
        path, codec=codec("dnxhr-lb"), container="mov", width=256, height=144, rate=rate, tags=tags
    ) as writer:
        writer.write(texture("yuv422p", 256, 144))
    with pytest.raises(DeliveryError, match="1 pictures instead of 2"):
        join(
            [path],
            [2],
            tmp_path / "o.mov",
            codec=codec("dnxhr-lb"),
            container="mov",
            width=256,
            height=144,
            rate=rate,
            tags=tags,
            timecode=Timecode(frames=0, rate=rate),
        )


def test_a_full_disk_is_a_shortage(tmp_path: Path) -> None:
    with (
        pytest.raises(ResourceError, match="no space"),
        MovieWriter(
            Path("/dev/full"),
            codec=codec("dnxhr-lb"),
            container="mov",
            width=256,
            height=144,
            rate=FrameRate.parse(24),
            tags=Tags(),
        ) as writer,
    ):
        for n in range(60):
            writer.write(texture("yuv422p", 256, 144, n))


def test_check_names_every_difference(tmp_path: Path) -> None:
    rate = FrameRate.parse(24)
    delivered = read_back(
        made(tmp_path, codec("dnxhr-lb"), "mov", rate, Timecode(frames=86400, rate=rate), [4], sound=False)
    )
    faults = check(delivered, {"frames": 5, "first_timecode": "01:00:00:01", "reel": "B001", "rate": "25"})
    assert [f.split(" is ")[0] for f in faults] == ["frames", "first timecode", "reel", "rate"]


def test_the_table_is_closed() -> None:
    assert segment_frames(FrameRate.parse("23.976")) == 48
    assert codec("DNxHR LB").name == "dnxhr-lb"
    with pytest.raises(RecipeError, match="prores-lt"):
        codec("prores-ltt")
