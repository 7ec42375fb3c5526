"""HDR10 metadata: measured light, and what an outsider finds in stream and container."""

import struct
from pathlib import Path

import av
import numpy as np
import pytest

import independent
from pictures import frame_of, texture
from rushlight.pipelines.colour.displays import find_display, pq_encode
from rushlight.pipelines.formats.codecs import Tags, codec
from rushlight.pipelines.formats.movie_format import MovieFormat
from rushlight.pipelines.formats.mp4_boxes import add_to_sample_entry, boxes
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.outputs.hdr_metadata import hdr_metadata, light_of, metadata_boxes, with_metadata
from rushlight.pipelines.outputs.join_segments import join
from rushlight.pipelines.outputs.readback import read_back
from rushlight.pipelines.outputs.segment_writer import MovieWriter

PQ = find_display("PQ BT.2100")
TAGS = Tags(primaries=9, transfer=16, matrix=9)


def gray(nits: np.ndarray, chroma: tuple[int, int] = (512, 512)) -> av.VideoFrame:
    """A 4:4:4 10-bit PQ picture of that luminance."""
    luma = np.rint(64 + 876 * pq_encode(nits)).astype(np.uint16)
    ones = np.ones(nits.shape, np.uint16)
    return frame_of("yuv444p10le", luma, ones * chroma[0], ones * chroma[1])


def test_light_of_a_gray_picture() -> None:
    """PQ signals of ST 2084 (check: 100 cd/m2 is code 509.08, 1000 is 722.60; a code is 1 % of light there)."""
    nits = np.full((32, 64), 100.0)
    nits[:16, :32] = 1000.0
    most, mean = light_of(gray(nits))
    assert most == pytest.approx(1000, rel=0.012)
    assert mean == pytest.approx(325, rel=0.012)
    assert light_of(gray(np.zeros((16, 16)))) == (0, 0)
    assert light_of(gray(nits), box=(0, 0, 32, 16)) == pytest.approx((1000, 1000), rel=0.012)
    assert light_of(gray(nits), box=(32, 0, 32, 32)) == pytest.approx((100, 100), rel=0.012)


def test_light_is_of_the_largest_component() -> None:
    """BT.2020 100 % red in ten bits is (294, 387, 960): its red is full signal, 10000 cd/m2, whatever its luma."""
    most, mean = light_of(
        frame_of("yuv444p10le", *(np.full((16, 16), v, np.uint16) for v in (294, 387, 960)))
    )
    assert most == pytest.approx(10000, rel=0.03) and mean == pytest.approx(most, rel=2e-3)


def test_metadata_of_a_programme() -> None:
    hdr = hdr_metadata(PQ, [(400.2, 40.0), (811.6, 20.0), (3.0, 55.4)])
    assert (hdr.max_cll, hdr.max_fall) == (812, 55)
    assert hdr.red == (0.708, 0.292) and hdr.white == (0.3127, 0.3290)  # ITU-R BT.2100-2, table 2
    assert hdr_metadata(PQ, []).max_cll == 0
    assert hdr_metadata(PQ, [(1e6, 1e6)]).max_fall == 65535


def test_boxes_hold_what_the_standard_says() -> None:
    """ST 2086 in units of 0.00002 and 0.0001 cd/m2, G B R white: 0.170/0.00002 = 8500."""
    data = metadata_boxes(hdr_metadata(PQ, [(812, 203)]))
    first, second = boxes(data)
    assert (first.kind, second.kind) == (b"mdcv", b"clli")
    numbers = struct.unpack_from(">8H2I", data, first.body)
    assert numbers == (8500, 39850, 6550, 2300, 35400, 14600, 15635, 16450, 10_000_000, 1)
    assert struct.unpack_from(">2H", data, second.body) == (812, 203)


def test_no_start_code_inside_a_message() -> None:
    data = with_metadata(b"picture", hdr_metadata(PQ, [(0, 0)]))
    assert data.endswith(b"picture")
    units, rest = [], data[: -len(b"picture")]
    while rest:
        size = int.from_bytes(rest[:4], "big")
        units.append(rest[4 : 4 + size])
        rest = rest[4 + size :]
    assert [(unit[0] >> 1, unit[2]) for unit in units] == [(39, 137), (39, 144)]  # H.265 table 7-1; D.2.1
    for unit in units:
        assert not [n for n in range(len(unit)) if unit[n : n + 2] == b"\0\0" and unit[n + 2] < 3]
    assert b"\0\0\3" in units[0]


def test_boxes_that_lie_are_not_followed() -> None:
    assert [b.kind for b in boxes(struct.pack(">I4s", 8, b"free") + struct.pack(">I4s", 4000, b"moov"))] == [
        b"free"
    ]
    assert [b.end for b in boxes(struct.pack(">I4sQ", 1, b"mdat", 20) + b"1234")] == [20]
    assert [b.end for b in boxes(struct.pack(">I4s", 0, b"mdat") + b"1234")] == [12]
    with pytest.raises((AssertionError, ValueError)):
        add_to_sample_entry(b"", b"")


@pytest.mark.parametrize("container", ["mp4", "mov"])
def test_stream_and_container_carry_the_metadata(container: str, tmp_path: Path) -> None:
    rate = FrameRate.parse(24)
    paths, counts = [], [48, 30]
    for index, count in enumerate(counts):
        paths.append(tmp_path / f"{index}.part")
        with MovieWriter(
            paths[-1],
            MovieFormat(codec=codec("hevc-10"), container="mov", width=256, height=144, rate=rate, tags=TAGS),
        ) as writer:
            for number in range(count):
                writer.write(texture("yuv420p10le", 256, 144, number))
    final = tmp_path / f"a.{container}"
    hdr = hdr_metadata(PQ, [(811.6, 202.9)])
    join(
        paths,
        counts,
        final,
        MovieFormat(codec=codec("hevc-10"), container=container, width=256, height=144, rate=rate, tags=TAGS),
        timecode=Timecode(frames=86400, rate=rate),
        hdr=hdr,
    )
    found = read_back(final)
    assert found.light == (812, 203)
    assert found.mastering is not None
    wanted = (0.708, 0.292, 0.17, 0.797, 0.131, 0.046, 0.3127, 0.329, 0.0001, 1000.0)
    assert np.allclose(found.mastering, wanted, atol=2e-5)
    assert (found.frames, found.even, found.sample_entry) == (78, True, "hvc1")
    assert found.picture_tags == (9, 16, 9, "narrow")
    said = independent.said(final)
    assert "Content light level" in said and "MaxCLL=812, MaxFALL=203" in said
    assert "Mastering display" in said and "max_luminance=1000" in said
    with av.open(str(final)) as movie:  # a player that starts at any key picture learns it there
        starts = [p.pts for p in movie.demux(movie.streams.video[0]) if p.size and p.is_keyframe]
        assert len(starts) == 4
        for start in starts:
            movie.seek(start, stream=movie.streams.video[0])
            picture = next(movie.decode(movie.streams.video[0]))
            assert picture.key_frame and picture.pts == start
            kinds = {str(picture.side_data[k].type).rpartition(".")[2] for k in range(len(picture.side_data))}
            assert {"CONTENT_LIGHT_LEVEL", "MASTERING_DISPLAY_METADATA"} <= kinds
