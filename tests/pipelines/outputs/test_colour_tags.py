"""Colour tags as bytes: what box, parameter sets, frame header and MXF descriptor say agrees, read by parsers of the test's own and by FFmpeg."""

from __future__ import annotations

import re
import struct
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

import independent
from movies import segments_of, size_of
from rushlight.pipelines.formats.codecs import CODECS, TRANSFERS, Tags, codec
from rushlight.pipelines.formats.movie_format import MovieFormat
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.outputs.join_segments import join

RATE = FrameRate.parse(24)
SDR = Tags(primaries=1, transfer=1, matrix=1)
HDR = Tags(primaries=9, transfer=16, matrix=9)
# SMPTE RP 224 (from memory): the ends of TransferCharacteristic, ColorPrimaries and CodingEquations labels, by code point of H.273.
LABELS = {
    0x3210: {"0401010101010000": 4, "0401010101020000": 1},
    0x3219: {"0401010103030000": 1},
    0x321A: {"0401010102020000": 1},
}


def movie(tmp: Path, name: str, container: str, tags: Tags) -> Path:
    which, final = codec(name), tmp / f"{name}.{container}"
    width, height = size_of(which)
    made = MovieFormat(codec=which, container=container, width=width, height=height, rate=RATE, tags=tags)
    join(
        segments_of(tmp, which, RATE, [1], tags=tags),
        [1],
        final,
        made,
        timecode=Timecode(frames=0, rate=RATE),
    )
    return final


def colour_boxes(data: bytes) -> Iterator[tuple[str, int, int, int, int | None]]:
    """Each `colr` box (ISO/IEC 14496-12, 12.1.5; QuickTime's has no range): kind, primaries, transfer, matrix, full range."""
    for found in re.finditer(b"colr(nclx|nclc)", data):
        size = struct.unpack_from(">I", data, found.start() - 4)[0]
        values = struct.unpack_from(">3H", data, found.end())
        full = data[found.end() + 6] >> 7 if found[1] == b"nclx" else None
        assert size == (19 if full is not None else 18)
        yield found[1].decode(), *values, full


def stream_tags(path: Path) -> set[tuple[int, int, int, int]]:
    """Primaries, transfer, matrix and full range of every VUI (ITU-T H.264 and H.265, annex E), as FFmpeg parses the bits."""
    command = [
        independent.FFMPEG,
        "-hide_banner",
        "-i",
        str(path),
        *["-map", "0:v:0", "-c", "copy", "-bsf:v", "trace_headers", "-f", "null", "-"],
    ]
    text = subprocess.run(command, capture_output=True, text=True, check=True).stderr
    names = ("colour_primaries", "transfer_characteristics", "matrix_coefficients", "video_full_range_flag")
    columns = [[int(n) for n in re.findall(rf"\b{name}\b.*= (\d+)$", text, re.M)] for name in names]
    assert columns[0] and len({len(column) for column in columns}) == 1
    return set(zip(*columns, strict=True))


@pytest.mark.parametrize("container", ["mov", "mp4"])
@pytest.mark.parametrize("name", ["h264", "h264-10", "hevc", "hevc-10"])
def test_box_and_parameter_sets_agree(name: str, container: str, tmp_path: Path) -> None:
    every = [replace(SDR, transfer=transfer) for transfer in TRANSFERS]
    for tags in [*every, HDR] if name.endswith("-10") else every:
        path = movie(tmp_path, name, container, tags)
        wanted = tags.primaries, tags.transfer, tags.matrix
        boxes = list(colour_boxes(path.read_bytes()))
        assert boxes == [("nclc", *wanted, None) if container == "mov" else ("nclx", *wanted, 0)]
        assert stream_tags(path) == {(*wanted, 0)}


@pytest.mark.parametrize("name", [name for name in CODECS if name.startswith("prores")])
def test_box_and_frame_header_of_prores_agree(name: str, tmp_path: Path) -> None:
    """SMPTE RDD 36:2015, section 5.1.1: the frame header's colour bytes follow size, version, encoder, raster and flags."""
    for tags in [HDR, *(replace(SDR, transfer=transfer) for transfer in TRANSFERS)]:
        data = movie(tmp_path, name, "mov", tags).read_bytes()
        wanted = tags.primaries, tags.transfer, tags.matrix
        assert list(colour_boxes(data)) == [("nclc", *wanted, None)]
        header = data.index(b"icpf") + 4
        assert tuple(data[header + 14 : header + 17]) == wanted


@pytest.mark.parametrize("name", ["dnxhr-lb", "dnxhr-hqx", "dnxhd"])
def test_boxes_of_dnx_in_mov(name: str, tmp_path: Path) -> None:
    for transfer in TRANSFERS:
        path = movie(tmp_path, name, "mov", replace(SDR, transfer=transfer))
        assert list(colour_boxes(path.read_bytes())) == [("nclc", 1, transfer, 1, None)]


@pytest.mark.parametrize("name", ["dnxhr-lb", "dnxhr-hqx", "dnxhd", "prores-422"])
@pytest.mark.parametrize("transfer", [1, 4])
def test_labels_of_mxf(name: str, transfer: int, tmp_path: Path) -> None:
    """The picture descriptor's labels by their local tags (SMPTE ST 377-1:2019, annex F.2)."""
    data = movie(tmp_path, name, "mxf", replace(SDR, transfer=transfer)).read_bytes()
    for tag, known in LABELS.items():
        head = re.escape(struct.pack(">HH", tag, 16) + bytes.fromhex("060e2b34040101"))
        found = re.findall(head + b".(.{8})", data, re.S)  # the byte between is the registry's version
        assert found, hex(tag)
        points = {known.get(label.hex()) for label in found}
        assert points == {transfer if tag == 0x3210 else 1}


def test_ffmpeg_reads_the_same(tmp_path: Path) -> None:
    path = movie(tmp_path, "h264", "mp4", replace(SDR, transfer=13))
    assert "yuv420p(tv, bt709/bt709/iec61966-2-1" in independent.said(path)
