"""The bext chunk of EBU Tech 3285, whole and spoilt."""

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recordings import bext
from rushlight.pipelines.sound.bext import parse_bext


def test_a_time_reference_has_64_bits() -> None:
    for reference in (0, 1, 2**32 - 1, 2**32, 8_302_694_400):
        assert parse_bext(bext(reference)).time_reference == reference


@pytest.mark.parametrize("prefix", ["s", "d", "g", ""])
def test_a_description_says_scene_and_take_with_any_prefix(prefix: str) -> None:
    found = parse_bext(
        bext(
            description=f"{prefix}SCENE=12A\r\n{prefix}TAKE=3\r\niTAPE=SR01\r\nfree text\r\n{prefix}SPEED=023.976-ND"
        )
    )
    assert found.described == {"SCENE": "12A", "TAKE": "3", "TAPE": "SR01", "SPEED": "023.976-ND"}


def test_text_that_is_not_ascii_is_read_and_said() -> None:
    assert parse_bext(bext(description="sNOTE=caf\u00e9".encode())).notes == ()
    latin = parse_bext(bext(description="sNOTE=caf\u00e9".encode("latin-1")))
    assert latin.described["NOTE"] == "caf\u00e9" and "Latin-1" in latin.notes[0]


def test_a_field_that_is_full_has_no_nul() -> None:
    assert parse_bext(bext(description="x" * 256)).description == "x" * 256


@pytest.mark.parametrize("length", [0, 100, 345, 346, 347, 348, 601, 602])
def test_a_short_chunk_gives_what_it_has(length: int) -> None:
    found = parse_bext(bext(123456)[:length])
    assert found.time_reference == (123456 if length >= 346 else None)
    assert bool(found.notes) == (length < 602)


@given(st.binary(max_size=700))
def test_any_bytes_give_a_record(data: bytes) -> None:
    found = parse_bext(data)
    assert found.time_reference is None or found.time_reference == struct.unpack_from("<Q", data, 338)[0]
