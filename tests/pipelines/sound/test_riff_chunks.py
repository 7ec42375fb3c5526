"""Chunks of RIFF, RF64 and BW64, and sizes that are not true. Source of the layouts: EBU Tech 3285, 3306; ITU-R BS.2088."""

import io
import struct
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recordings import bext, chunk, write_wav
from rushlight.pipelines.errors import SourceError
from rushlight.pipelines.sound.riff_chunks import Riff, read_riff

FMT = chunk(b"fmt ", struct.pack("<HHIIHH", 1, 1, 48000, 96000, 2, 16))


def riff_of(data: bytes) -> Riff:
    return read_riff(io.BytesIO(data), len(data))


def riff_file(*chunks: bytes, form: bytes = b"RIFF") -> bytes:
    body = b"WAVE" + b"".join(chunks)
    return form + struct.pack("<I", len(body)) + body


@pytest.mark.parametrize("form", ["RIFF", "RF64", "BW64"])
def test_chunks_are_found_in_any_order(form: str, tmp_path: Path) -> None:
    path = write_wav(
        tmp_path / "a.wav",
        100,
        form=form,
        before=[chunk(b"JUNK", b"odd"), chunk(b"bext", bext())],
        after=[chunk(b"iXML", b"<a/>")],
    )
    with path.open("rb") as stream:
        found = read_riff(stream, path.stat().st_size)
    idents = [c.ident for c in found.chunks if c.ident != "ds64"]
    assert idents == ["JUNK", "bext", "fmt ", "data", "iXML"] and found.form == form
    assert (found.data.size, found.notes) == (300, ())


def test_an_odd_chunk_whose_padding_was_forgotten() -> None:
    odd = b"note" + struct.pack("<I", 3) + b"odd"
    found = riff_of(riff_file(odd, FMT, chunk(b"data", b"\1\2")))
    assert [c.ident for c in found.chunks] == ["note", "fmt ", "data"]


@pytest.mark.parametrize(
    ("size", "said"),
    [(0, "did not finish"), (0xFFFFFFFF, "does not say how much"), (10_000, "cut off")],
)
def test_a_size_that_is_not_true_is_said_and_what_is_there_is_used(
    size: int, said: str, tmp_path: Path
) -> None:
    path = write_wav(tmp_path / "a.wav", 100, size=size)
    with path.open("rb") as stream:
        found = read_riff(stream, path.stat().st_size)
    assert found.data.size == 300 and said in found.notes[0]


def test_no_sound_at_all_is_not_a_recorder_that_lost_its_power() -> None:
    found = riff_of(riff_file(FMT, chunk(b"data", b""), chunk(b"iXML", b"<a/>")))
    assert (found.data.size, found.notes) == (0, ())
    assert [c.ident for c in found.chunks] == ["fmt ", "data", "iXML"]


def test_an_rf64_that_was_cut_off(tmp_path: Path) -> None:
    path = write_wav(tmp_path / "a.wav", 100, form="RF64")
    whole = path.read_bytes()
    found = riff_of(whole[:-150])
    assert found.data.size == 150 and found.stated == 300 and "cut off" in found.notes[0]


@pytest.mark.parametrize("tail", [(), (chunk(b"iXML", b"<BWFXML/>"),)])
def test_a_size_that_wrapped_past_4_gib(tail: tuple[bytes, ...], tmp_path: Path) -> None:
    """A sparse file: nothing of it is read but heads, and it costs no disk."""
    samples = 187_500_000  # 4.5 GB of 24 bits and 8 channels
    path = write_wav(tmp_path / "a.wav", samples, channels=8, sparse=True, after=tail)
    with path.open("rb", buffering=0) as stream:
        found = read_riff(stream, path.stat().st_size)
    assert found.data.size == samples * 24 and "wrapped" in found.notes[0]
    assert (found.first("iXML") is not None) == bool(tail)


@pytest.mark.parametrize(
    ("data", "said"),
    [(b"", "no WAV"), (b"RIFF\0\0\0\0AVI ", "no WAV"), (riff_file(FMT), "no `data`")],
)
def test_what_is_no_sound_file(data: bytes, said: str) -> None:
    with pytest.raises(SourceError, match=said):
        riff_of(data)


@given(st.binary(max_size=300))
def test_any_bytes_give_chunks_inside_the_file_or_one_error(junk: bytes) -> None:
    for data in (
        junk,
        b"RIFF\0\0\0\0WAVE" + junk,
        b"RF64\xff\xff\xff\xffWAVEds64\x1c\0\0\0" + junk,
        riff_file(FMT, junk),
    ):
        try:
            found = riff_of(data)
        except SourceError:
            continue
        assert all(c.start >= 0 and c.size >= 0 and c.start + c.size <= len(data) for c in found.chunks)


@given(
    st.lists(
        st.tuples(st.sampled_from([b"LIST", b"iXML", b"bext", b"cue "]), st.binary(max_size=41)), max_size=6
    ),
    st.binary(max_size=60),
    st.integers(0, 6),
)
def test_what_was_written_is_found(others: list[tuple[bytes, bytes]], sound: bytes, at: int) -> None:
    chunks = [*others]
    chunks.insert(min(at, len(chunks)), (b"data", sound))
    data = riff_file(*(chunk(ident, body) for ident, body in chunks))
    found = riff_of(data)
    if sound or at >= len(others):
        assert [(c.ident.encode(), data[c.start : c.start + c.size]) for c in found.chunks] == chunks
    assert data[found.data.start : found.data.start + found.data.size][: len(sound)] == sound
