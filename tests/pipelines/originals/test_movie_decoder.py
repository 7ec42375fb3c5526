"""Frame N is frame N: edit lists, open groups, B pictures, holes; against a decode of every frame by an outsider."""

from __future__ import annotations

from pathlib import Path

import av
import numpy as np
import pytest

import independent
from pictures import number_in, number_of, numbered, settled, write_movie
from rushlight.pipelines.errors import SourceError
from rushlight.pipelines.formats.pixel_formats import planes
from rushlight.pipelines.originals.frame_sources import SourceFrame, open_source
from rushlight.pipelines.originals.movie_decoder import SPOILT
from rushlight.pipelines.originals.probe import probe
from rushlight.pipelines.originals.sound import read_sound

GOP = "keyint=24:min-keyint=24:bframes=3:scenecut=0"
H264 = ("-c:v", "libx264", "-pix_fmt", "yuv420p", "-x264-params", GOP)
H264_OPEN = ("-c:v", "libx264", "-pix_fmt", "yuv420p", "-x264-params", GOP + ":open-gop=1")
HEVC_OPEN = (
    "-c:v", "libx265", "-pix_fmt", "yuv420p10le", "-tag:v", "hvc1",
    "-x265-params", GOP + ":open-gop=1:log-level=error",
)  # fmt: skip
SIZE = (256, 144)


@pytest.fixture(scope="module")
def hundred() -> list[av.VideoFrame]:
    return [numbered(n, *SIZE, "yuv422p10le") for n in range(100)]


def outsiders(path: Path) -> list[int]:
    """The numbers of all pictures that FFmpeg shows, in order."""
    return [number_in(luma) for luma in independent.raw_frames(path, "gray", *SIZE)]


def frames(path: Path, first: int = 0, count: int | None = None) -> list[SourceFrame]:
    facts = probe(path)
    with open_source(facts) as source:
        return list(source.frames(first, facts.frames if count is None else count))


def holds(path: Path, wanted: list[int]) -> None:
    """All frames in order, and every short run entered in the middle, are these; none is said to be damaged."""
    found = frames(path)
    assert [number_of(f.image) for f in found] == wanted
    assert not any(f.damage for f in found)
    for first in (1, 5, 22, 23, 24, 25, 26, 47, 48, 49, len(wanted) - 3):
        run = frames(path, first, 3)
        assert [f.number for f in run] == [first, first + 1, first + 2]
        assert [number_of(f.image) for f in run] == wanted[first : first + 3], first
        assert not any(f.damage for f in run)


@pytest.mark.parametrize("ending", ["mov", "mp4"])
@pytest.mark.parametrize("codec", [H264, H264_OPEN, HEVC_OPEN], ids=["h264", "h264 open", "hevc open"])
def test_long_groups_and_edit_lists(
    codec: tuple[str, ...], ending: str, hundred: list[av.VideoFrame], tmp_path: Path
) -> None:
    whole = independent.write(tmp_path / f"a.{ending}", hundred, *codec)
    holds(whole, list(range(100)))
    made = {
        "cut into a group": ("-ss", "1.3", "-i", whole, "-c", "copy"),  # an edit list hides what leads to it
        "without an edit list": ("-i", whole, "-c", "copy", "-use_editlist", "0"),  # begins at 2 frames
        "negative offsets": ("-i", whole, "-c", "copy", "-movflags", "+negative_cts_offsets"),
        "begins late": ("-itsoffset", "0.5", "-i", whole, "-c", "copy"),
        "fragments": ("-i", whole, "-c", "copy", "-movflags", "frag_keyframe+empty_moov"),
    }
    for number, (name, arguments) in enumerate(made.items()):
        path = tmp_path / f"{number}.{ending}"
        independent.ffmpeg(*arguments, path)
        seen = outsiders(path)
        assert len(seen) == (68 if name == "cut into a group" else 100)
        assert probe(path).frames == len(seen), name
        holds(path, seen)


def test_an_edit_list_of_two_parts_is_refused(hundred: list[av.VideoFrame], tmp_path: Path) -> None:
    path = independent.write(tmp_path / "a.mov", hundred[:48], *H264)
    data = path.read_bytes()
    place = data.index(b"elst") - 4
    old = data[place : place + int.from_bytes(data[place : place + 4])]
    new = b"elst" + bytes(4) + (2).to_bytes(4)
    for start in (1024, 13312):
        new += (500).to_bytes(4) + start.to_bytes(4) + b"\0\1\0\0"
    new = (len(new) + 4).to_bytes(4) + new
    changed = bytearray(data.replace(old, new))
    for kind in (b"moov", b"trak", b"edts"):
        at = changed.index(kind) - 4
        changed[at : at + 4] = (int.from_bytes(changed[at : at + 4]) + len(new) - len(old)).to_bytes(4)
    path.write_bytes(changed)
    with pytest.raises(SourceError, match="plays 2 parts"):
        probe(path)


@pytest.mark.parametrize("codec", [H264, H264_OPEN], ids=["closed", "open"])
def test_an_mxf_whose_stamps_follow_the_order_of_decoding(
    codec: tuple[str, ...], hundred: list[av.VideoFrame], tmp_path: Path
) -> None:
    path = independent.write(tmp_path / "a.mxf", hundred, *codec, "-pix_fmt", "yuv422p10le")
    holds(path, list(range(100)))


def test_a_transport_stream(hundred: list[av.VideoFrame], tmp_path: Path) -> None:
    path = independent.write(tmp_path / "a.mts", hundred, *H264, "-f", "mpegts")
    assert probe(path).frames == 100
    holds(path, list(range(100)))


# --- damage


def packets(path: Path) -> list[tuple[int, int]]:
    """Place and size of each picture in the file, in order of decoding."""
    with av.open(str(path)) as container:
        return [(p.pos, p.size) for p in container.demux(container.streams.video[0]) if p.size]


def differing(sound: list[SourceFrame], found: list[SourceFrame]) -> set[int]:
    def held(frame: SourceFrame) -> list[bytes]:
        return [p.tobytes() for p in planes(frame.image)]

    return {a.number for a, b in zip(sound, found, strict=True) if held(a) != held(b)}


@pytest.mark.parametrize("spot", [24, 25, 28, 31])
def test_what_a_lost_picture_spoils_is_named(spot: int, hundred: list[av.VideoFrame], tmp_path: Path) -> None:
    """Every picture that comes out otherwise is named, and none past the next key picture or before the group."""
    for codec, name in ((H264, "a.mp4"), (HEVC_OPEN, "b.mp4")):
        path = independent.write(tmp_path / name, hundred[:60], *codec)
        sound = frames(path)
        place, size = packets(path)[spot]
        data = bytearray(path.read_bytes())
        data[place : place + size] = bytes(size)
        path.write_bytes(data)
        found = frames(path)
        named = {f.number for f in found if f.damage}
        assert [f.number for f in found] == list(range(60))
        assert named and differing(sound, found) <= named, (name, sorted(named))
        assert all(20 <= n < 48 for n in named), (name, sorted(named))
        assert {f.damage for f in frames(path, max(named) - 2, 3)} <= {SPOILT, *(f.damage for f in found)}
        assert all(f.damage for f in frames(path, max(named), 1))  # also for who enters here


@pytest.mark.parametrize("hole", ["a whole picture", "the end of one and the head of the next"])
def test_a_hole_in_an_mxf_shifts_no_frame(hole: str, hundred: list[av.VideoFrame], tmp_path: Path) -> None:
    codec = ("-c:v", "dnxhd", "-profile:v", "dnxhr_hq", "-pix_fmt", "yuv422p")
    path = independent.write(tmp_path / "a.mxf", hundred[:60], *codec)
    place = packets(path)
    data = bytearray(path.read_bytes())
    start, end = place[24][0], sum(place[24])
    if hole != "a whole picture":
        start, end = start + 4000, place[25][0] + 4000
    data[start:end] = bytes(end - start)
    path.write_bytes(data)
    found = frames(path)
    lost = {24} if hole == "a whole picture" else {24, 25}
    assert {n for n, f in enumerate(found) if number_of(f.image) != n} <= lost
    assert {f.number for f in found if f.damage} <= lost and found[max(lost)].damage


def test_damage_in_a_movie_of_variable_rate_keeps_the_count(
    hundred: list[av.VideoFrame], tmp_path: Path
) -> None:
    slower = "setpts='if(lt(N,20),N,20+(N-20)*2)/24/TB'"
    path = independent.write(tmp_path / "a.mp4", hundred[:60], "-vf", slower, "-fps_mode", "vfr", *H264)
    for other in (path, tmp_path / "a.mkv", tmp_path / "a.mts"):
        if other != path:
            independent.ffmpeg(
                "-i", path, "-c", "copy", "-f", "mpegts" if other.suffix == ".mts" else "matroska", other
            )
        facts = probe(other)
        assert facts.variable_rate and facts.frames == 60, other.suffix
        with open_source(facts, conform=True) as source:
            assert [number_of(f.image) for f in source.frames(0, 60)] == list(range(60)), other.suffix
    place, size = packets(path)[30]
    data = bytearray(path.read_bytes())
    data[place : place + size] = bytes(size)
    path.write_bytes(data)
    with open_source(probe(path), conform=True) as source:
        found = list(source.frames(0, 60))
        assert [number_of(f.image) for f in source.frames(50, 5)] == [50, 51, 52, 53, 54]
    wrong = {f.number for f in found if number_of(f.image) != f.number}
    assert len(wrong) == 1 and wrong <= {f.number for f in found if f.damage}


def test_a_file_cut_short_names_what_is_missing(hundred: list[av.VideoFrame], tmp_path: Path) -> None:
    codec = ("-c:v", "prores_ks", "-profile:v", "0", "-movflags", "+faststart")
    path = independent.write(tmp_path / "a.mov", hundred[:40], *codec)
    place, size = packets(path)[30]
    path.write_bytes(path.read_bytes()[: place + size // 2])
    found = frames(path)
    assert [f.number for f in found] == list(range(40))
    assert [f.number for f in found if f.damage] == list(range(30, 40))


@pytest.mark.parametrize("codec", ["prores", "h264"])
def test_an_mxf_cut_short_gives_what_it_has(codec: str, hundred: list[av.VideoFrame], tmp_path: Path) -> None:
    """Of a long group, whose index stood at the end of the file, pictures are counted from its beginning."""
    coder = (
        ("-c:v", "prores_ks", "-profile:v", "0") if codec == "prores" else (*H264, "-pix_fmt", "yuv422p10le")
    )
    path = independent.write(tmp_path / "a.mxf", hundred[:60], *coder)
    place, size = packets(path)[40]
    path.write_bytes(path.read_bytes()[: place + size // 2])
    found = frames(path)
    assert [f.number for f in found] == list(range(60))
    wrong = {f.number for f in found if number_of(f.image) != f.number}
    assert wrong <= {f.number for f in found if f.damage} and min(wrong) >= 38
    assert [number_of(f.image) for f in frames(path, 20, 5)] == [20, 21, 22, 23, 24]
    assert any("was cut short" in w for w in probe(path).warnings)


def test_sound_of_an_mxf_cut_short_is_in_its_place(hundred: list[av.VideoFrame], tmp_path: Path) -> None:
    tone = np.random.default_rng(2).integers(-(1 << 22), 1 << 22, (2, 2000 * 60), dtype=np.int32) << 8
    whole = write_movie(tmp_path / "a.mov", hundred[:60], sound=tone, options={"profile": "proxy"})
    path = tmp_path / "a.mxf"
    independent.ffmpeg("-i", whole, "-c", "copy", path)
    path.write_bytes(path.read_bytes()[: packets(path)[50][0]])
    heard = np.concatenate(list(read_sound(probe(path), 40, 8)), axis=1)
    assert (heard == tone[:, 80000:96000]).all()


def test_pictures_are_the_outsiders_bit_for_bit(hundred: list[av.VideoFrame], tmp_path: Path) -> None:
    path = independent.write(tmp_path / "a.mov", hundred[:30], *H264_OPEN)
    for frame in frames(path, 7, 20)[::6]:
        wanted = independent.raw(path, "yuv420p", *SIZE, frame.number)
        assert (np.concatenate([p.ravel() for p in planes(frame.image)]) == wanted).all()


SLICED_KINDS = {
    "prores": ("prores_ks", "yuv422p10le", {"profile": "hq"}),
    "prores 4444": ("prores_ks", "yuv444p10le", {"profile": "4444"}),
    "dnxhr hqx": ("dnxhd", "yuv422p10le", {"profile": "dnxhr_hqx"}),
    "dnxhr lb": ("dnxhd", "yuv422p", {"profile": "dnxhr_lb"}),
    "h264": ("libx264", "yuv420p", {"x264-params": "slices=4"}),
}


@pytest.mark.parametrize("damaged", [False, True], ids=["sound", "damaged"])
@pytest.mark.parametrize("kind", SLICED_KINDS)
def test_the_same_pictures_and_damage_on_one_two_and_four_threads(
    kind: str, damaged: bool, tmp_path: Path
) -> None:
    codec, pixel_format, options = SLICED_KINDS[kind]
    pictures = [numbered(n, 512, 288, pixel_format) for n in range(4)]
    path = write_movie(tmp_path / "a.mov", pictures, codec=codec, options=options)
    if damaged:
        whole = bytearray(path.read_bytes())
        for place in range(whole.index(b"mdat") + 3000, len(whole) - 6000, 4001):
            whole[place : place + 3] = b"\xff\x00\xff"
        path.write_bytes(bytes(whole))
        settled(path)
    facts, found = probe(path), []
    for threads in (1, 2, 4):
        with open_source(facts, threads=threads) as source:
            context = source._reading._stream.codec_context  # type: ignore[union-attr]
            assert context.thread_count == (1 if kind == "h264" else threads)
            given = list(source.frames(0, 4))
        found.append([(f.damage, f.lost, [p.tobytes() for p in planes(f.image)]) for f in given])
    assert found[0] == found[1] == found[2]
    assert any(damage for damage, _, _ in found[0]) == damaged
