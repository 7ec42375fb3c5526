"""Headers and frames: what was written by others is read as it is, by number."""

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import OpenImageIO as oiio
import pytest

import independent
from pictures import number_of, numbered, write_movie, write_sequence
from real import originals
from rushlight.pipelines.errors import SourceError
from rushlight.pipelines.formats.pixel_formats import planes
from rushlight.pipelines.formats.timecode import FrameRate
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.probe import full_hash, probe, sampled_hash, sequence_files

LONG = {"x264-params": "keyint=12:min-keyint=12:bframes=2:scenecut=0:open-gop=1:log-level=none"}
KINDS = {
    "prores": ("a.mov", "prores_ks", "yuv422p10le", {"profile": "hq"}),
    "prores 4444": ("a.mov", "prores_ks", "yuv444p10le", {"profile": "4444"}),
    "dnxhr": ("a.mxf", "dnxhd", "yuv422p10le", {"profile": "dnxhr_hqx"}),
    "h264 intra": ("a.mov", "libx264", "yuv422p10le", {"x264-params": "keyint=1:log-level=none"}),
    "h264 long": ("a.mp4", "libx264", "yuv420p", LONG),
    "hevc long": (
        "a.mp4",
        "libx265",
        "yuv420p10le",
        {"x265-params": "keyint=12:bframes=3:open-gop=1:log-level=none:pools=none"},
    ),
    "mjpeg": ("a.mov", "mjpeg", "yuvj420p", {}),
}


@pytest.mark.parametrize("kind", KINDS)
def test_frame_n_is_frame_n(kind: str, tmp_path: Path) -> None:
    name, codec, pixel_format, options = KINDS[kind]
    size = (256, 144) if codec == "dnxhd" else (128, 72)
    frames = [numbered(n, *size, pixel_format) for n in range(40)]
    path = write_movie(
        tmp_path / name,
        frames,
        codec=codec,
        options=options,
        levels=2 if codec == "mjpeg" else 1,
        timecode="" if codec == "mjpeg" else "01:00:00:00",
    )
    facts = probe(path)
    assert (facts.frames, str(facts.rate), facts.width, facts.height) == (40, "24", *size)
    assert facts.timecode_from == ("none" if codec == "mjpeg" else "header")
    with open_source(facts) as source:
        assert [number_of(f.image) for f in source.frames(0, 40)] == list(range(40))
        for first in (1, 7, 11, 12, 13, 23, 24, 25, 37):
            found = list(source.frames(first, 3))
            assert [f.number for f in found] == list(range(first, first + 3))
            assert [number_of(f.image) for f in found] == list(range(first, first + 3)), (kind, first)
            assert not any(f.damage for f in found)


def test_real_originals_read_as_their_truth() -> None:
    folder, truth = originals(0.25)
    for entry in truth:
        facts = probe(folder / entry["file"])
        assert facts.frames == entry["frames"]
        assert facts.rate.fraction == Fraction(entry["rate"])
        assert str(facts.timecode) == entry["timecode"]
        if facts.kind == "movie":
            assert facts.levels_tag == entry["levels"]
            assert sum(t.channels for t in facts.sound) == entry["audio_channels"]
        if entry["file"].endswith(".mov"):
            assert facts.reel == entry["reel"]


def test_dpx_codes_are_exact(tmp_path: Path) -> None:
    rng = np.random.default_rng(0)
    codes = [rng.integers(0, 1024, (20, 30, 3)).astype(np.uint16) for _ in range(4)]
    facts = probe(write_sequence(tmp_path / "B001C002", codes, first=86400 + 5))
    assert (facts.frames, str(facts.timecode), facts.timecode_from, facts.pixel_format.name) == (
        4,
        "01:00:00:05",
        "header",
        "gbrp10le",
    )
    with open_source(facts) as source:
        for wanted, frame in zip(codes[1:3], source.frames(1, 2), strict=True):
            assert (np.stack(planes(frame.image), -1) == wanted).all()


def test_sequences_without_rate_or_timecode(tmp_path: Path) -> None:
    folder = write_sequence(
        tmp_path / "shot", [np.full((8, 8, 3), 500)] * 2, first=90, timecode=False, rate=0
    )
    facts = probe(folder)
    assert (facts.rate_from, str(facts.rate), facts.timecode_from, str(facts.timecode)) == (
        "assumed",
        "24",
        "file number",
        "00:00:03:18",
    )
    assert any("24" in w for w in facts.warnings)
    assert str(probe(folder, rate=FrameRate.parse(25)).timecode) == "00:00:03:15"


def test_missing_files_fail_hold_or_slate(tmp_path: Path) -> None:
    folder = write_sequence(tmp_path / "shot", [np.full((8, 8, 3), 100 * n) for n in range(1, 6)])
    (folder / "shot.0086402.dpx").unlink()
    facts = probe(folder)
    assert facts.missing == (2,) and facts.frames == 5
    with open_source(facts) as source, pytest.raises(SourceError, match="86402"):
        list(source.frames(0, 5))
    with open_source(facts, missing="hold") as source:
        held = list(source.frames(0, 5))
        assert [f.missing for f in held] == [False, False, True, False, False]
        assert planes(held[2].image)[0][0, 0] == 200 and held[2].damage
        assert planes(next(iter(source.frames(2, 1))).image)[0][0, 0] == 200
    with open_source(facts, missing="slate") as source:
        assert planes(next(iter(source.frames(2, 1))).image)[0].max() == 0


@pytest.mark.parametrize("window", [(4, 3, 10, 8), (-2, -3, 40, 30), (0, 0, 16, 12)])
def test_exr_data_windows(window: tuple, tmp_path: Path) -> None:
    x, y, width, height = window
    spec = oiio.ImageSpec(width, height, 3, oiio.HALF)
    spec.x, spec.y, spec.full_x, spec.full_y, spec.full_width, spec.full_height = x, y, 0, 0, 16, 12
    spec.attribute("FramesPerSecond", oiio.TypeRational, (24000, 1001))
    pixels = np.random.default_rng(1).random((height, width, 3)).astype(np.float16).astype(np.float32)
    writer = oiio.ImageOutput.create(str(tmp_path / "a.0001.exr"))
    assert writer.open(str(tmp_path / "a.0001.exr"), spec) and writer.write_image(pixels)
    writer.close()
    facts = probe(tmp_path)
    assert (facts.width, facts.height, str(facts.rate)) == (16, 12, "23.976")
    with open_source(facts) as source:
        green = planes(next(iter(source.frames(0, 1))).image)[1]
    wanted = np.zeros((12, 16), np.float32)
    for row in range(12):
        for column in range(16):
            if y <= row < y + height and x <= column < x + width:
                wanted[row, column] = pixels[row - y, column - x, 1]
    assert (green == wanted).all()


def test_damage_keeps_the_count(tmp_path: Path) -> None:
    path = write_movie(tmp_path / "a.mov", [numbered(n, 320, 180) for n in range(20)])
    facts = probe(path)
    with av.open(str(path)) as container:
        spot = list(container.streams.video[0].index_entries)[9]
        place, size = spot.pos, spot.size
    data = bytearray(path.read_bytes())
    data[place + size // 3 : place + size // 2] = bytes(
        np.random.default_rng(0).integers(0, 256, size // 2 - size // 3).astype(np.uint8)
    )
    path.write_bytes(data)
    with open_source(facts) as source:
        found = list(source.frames(0, 20))
    assert [f.number for f in found] == list(range(20))
    assert [f.number for f in found if f.damage] == [9]
    data[place : place + size] = bytes(size)
    path.write_bytes(data)
    with open_source(facts) as source:
        found = list(source.frames(5, 10))
    assert [f.number for f in found] == list(range(5, 15)) and [f.number for f in found if f.damage] == [9]


@pytest.mark.parametrize("text", ["", "25:61:00:00"])
def test_without_timecode_it_counts_from_zero_and_says_so(text: str, tmp_path: Path) -> None:
    path = write_movie(
        tmp_path / "a.mp4",
        [numbered(n, 128, 72, "yuv420p") for n in range(3)],
        codec="libx264",
        timecode="",
        reel="",
    )
    if text:
        independent.ffmpeg(
            "-i",
            path,
            "-c",
            "copy",
            "-metadata",
            f"timecode={text}",
            "-movflags",
            "use_metadata_tags",
            tmp_path / "b.mp4",
        )
        path = tmp_path / "b.mp4"
    facts = probe(path)
    assert (str(facts.timecode), facts.timecode_from) == ("00:00:00:00", "none")
    assert any("counted from 00:00:00:00" in w for w in facts.warnings)


def test_a_short_file_is_said(tmp_path: Path) -> None:
    path = write_movie(tmp_path / "a.mov", [numbered(n) for n in range(5)])
    with open_source(probe(path)) as source:
        found = list(source.frames(3, 4))
    assert [bool(f.damage) for f in found] == [False, False, True, True]


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("none.mov", None, "no such original"),
        ("junk.mov", b"not a movie at all", "does not open"),
        ("empty.mxf", b"", "does not open"),
        ("shot.r3d", b"x", "camera raw, give a transcode"),
        ("shot.braw", b"x", "camera raw, give a transcode"),
    ],
)
def test_what_does_not_open_is_one_clear_error(
    name: str, content: bytes | None, words: str, tmp_path: Path
) -> None:
    if content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(SourceError, match=words) as caught:
        probe(tmp_path / name)
    assert name in str(caught.value)


def test_folders_and_patterns(tmp_path: Path) -> None:
    folder = write_sequence(tmp_path / "one", [np.zeros((4, 4, 3))] * 2)
    (folder / "._one.0086400.dpx").write_bytes(b"x")
    (folder / "notes.txt").write_text("x")
    assert len(sequence_files(folder)[0]) == len(sequence_files(folder / "one.#######.dpx")[0]) == 2
    write_sequence(folder, [np.zeros((4, 4, 3))], first=7)
    (folder / "one.0000007.dpx").rename(folder / "two.0000007.dpx")
    with pytest.raises(SourceError, match="several"):
        sequence_files(folder)
    with pytest.raises(SourceError, match="no image sequence"):
        sequence_files(tmp_path)


def test_variable_rate_is_seen(tmp_path: Path) -> None:
    path = tmp_path / "v.mp4"
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=30, options={"x264-params": "bframes=0:log-level=none"})
        stream.width, stream.height, stream.pix_fmt = 128, 72, "yuv420p"
        stream.codec_context.time_base = Fraction(1, 90000)
        stamp = 0
        for n in range(20):
            frame = numbered(n, 128, 72, "yuv420p")
            frame.pts, frame.time_base = stamp, Fraction(1, 90000)
            stamp += 3000 if n % 3 else 4500
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    facts = probe(path)
    assert facts.variable_rate
    with open_source(facts, conform=True) as source:
        assert [number_of(f.image) for f in source.frames(4, 6)] == [4, 5, 6, 7, 8, 9]


def test_hashes_of_ends_and_of_all(tmp_path: Path) -> None:
    path = write_movie(tmp_path / "a.mov", [numbered(n, 640, 360) for n in range(40)])
    facts = probe(path)
    sampled, full = sampled_hash(facts), full_hash(facts)
    assert sampled.startswith("xxh3_128-first-last-MiB:") and full.startswith("xxh3_128:")
    data = bytearray(path.read_bytes())
    assert len(data) > 5 << 19
    data[len(data) // 2] ^= 1
    path.write_bytes(data)
    assert sampled_hash(facts) == sampled and full_hash(facts) != full
    data[-1] ^= 1
    path.write_bytes(data)
    assert sampled_hash(facts) != sampled
