"""iXML of every encoding and state (the specification's object details; every object is optional)."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recordings import ixml
from rushlight.pipelines.sound.ixml import parse_ixml, parse_speed


def test_what_a_recorder_writes_is_read() -> None:
    extra = "<CIRCLED>TRUE</CIRCLED><NOTE> two\n lines </NOTE><HISTORY><ORIGINAL_FILENAME>T3.WAV</ORIGINAL_FILENAME></HISTORY>"
    found = parse_ixml(
        ixml(
            "12A",
            "3",
            "SR07",
            "24000/1001",
            hertz=96000,
            reference=8_302_694_399,
            names=["MIX", "BOOM"],
            channels=[1, 5],
            family="F1",
            extra=extra,
        )
    )
    assert (found["SCENE"], found["TAKE"], found["TAPE"], found.circled, found.family) == (
        "12A",
        "3",
        "SR07",
        True,
        "F1",
    )
    assert (found.timecode_rate, found.drop, found.stamp_rate, found.stamp) == (
        Fraction(24000, 1001),
        False,
        96000,
        8_302_694_399,
    )
    assert [(t.place, t.channel, t.name) for t in found.tracks] == [(1, 1, "MIX"), (2, 5, "BOOM")]
    assert (found["NOTE"], found["ORIGINAL_FILENAME"], found.notes) == ("two lines", "T3.WAV", ())


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32"])
def test_any_unicode_is_read(encoding: str) -> None:
    text = ixml("12\u00e9\u4e2d").decode().replace("UTF-8", encoding.removesuffix("-sig"))
    found = parse_ixml(text.encode(encoding) + b"\0\0\0\0")
    assert found["SCENE"] == "12\u00e9\u4e2d" and found.notes == ()


def test_other_encodings_by_their_declaration() -> None:
    text = ixml("caf\u00e9").decode().replace("UTF-8", "ISO-8859-1")
    assert parse_ixml(text.encode("latin-1"))["SCENE"] == "caf\u00e9"


@pytest.mark.parametrize("declared", ["UTF-8", "no such", "rot13", "zlib", "unicode_escape"])
def test_text_that_is_not_what_it_says_is_read_and_said(declared: str) -> None:
    text = ixml("caf\u00e9").decode().replace("UTF-8", declared)
    found = parse_ixml(text.encode("latin-1"))
    assert found["SCENE"] == "caf\u00e9" and "Latin-1" in found.notes[0]


def test_signs_that_were_not_escaped_lose_nothing() -> None:
    found = parse_ixml(ixml("R&B < x", names=["BOOM & LAV", "LAV 2"]))
    assert found["SCENE"] == "R&B < x" and [t.name for t in found.tracks] == ["BOOM & LAV", "LAV 2"]
    assert "not well formed" in found.notes[0]


@pytest.mark.parametrize(
    "data", [b"", b"\0\0", b"no xml", b"<a><b></a>", b"<BWFXML><SCENE>1", b"\xff\xfe<\0"]
)
def test_what_is_no_xml_says_so_and_nothing_else(data: bytes) -> None:
    found = parse_ixml(data)
    assert found.notes and not found.texts and not found.tracks


def test_bombs_and_entities_are_refused() -> None:
    bomb = b'<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><BWFXML><SCENE>&b;</SCENE></BWFXML>'
    outside = b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]><BWFXML><SCENE>&a;</SCENE></BWFXML>'
    for data in (bomb, outside):
        found = parse_ixml(data)
        assert found["SCENE"] in ("", "&b;", "&a;") and found.notes
    assert "far too large" in parse_ixml(b"<a>" * 5000 + b"</a>" * 5000).notes[0]
    assert "far too large" in parse_ixml(b"<a/>" * 200_000).notes[0]


def test_every_object_is_optional() -> None:
    found = parse_ixml(b"<BWFXML/>")
    assert (found.timecode_rate, found.drop, found.stamp, found.tracks, found.notes) == (
        None,
        None,
        None,
        (),
        (),
    )


@pytest.mark.parametrize(
    ("text", "rate", "drop"),
    [
        ("24/1", Fraction(24), None),
        ("24000/1001", Fraction(24000, 1001), None),
        ("25/1", Fraction(25), None),
        ("30000/1001", Fraction(30000, 1001), None),
        ("23.976", Fraction(24000, 1001), None),
        ("23.98", Fraction(24000, 1001), None),
        ("023.976-ND", Fraction(24000, 1001), False),
        ("023.976-NDF", Fraction(24000, 1001), False),
        ("25.000ND", Fraction(25), False),
        ("2997ND", Fraction(30000, 1001), False),
        ("29.97DF", Fraction(30000, 1001), True),
        ("29.97 fps DF", Fraction(30000, 1001), True),
        ("2398", Fraction(24000, 1001), None),
        ("0/0", None, None),
        ("1/0", None, None),
        ("fast", None, None),
        ("", None, None),
    ],
)
def test_speeds_as_recorders_write_them(text: str, rate: Fraction | None, drop: bool | None) -> None:
    assert parse_speed(text) == (rate, drop)


@pytest.mark.parametrize("said", ["WILD_TRACK", "NO_GOOD", "FALSE_START"])
def test_takes_that_are_none(said: str) -> None:
    name = {"WILD_TRACK": "wild", "NO_GOOD": "no_good", "FALSE_START": "false_start"}[said]
    assert getattr(parse_ixml(ixml(extra=f"<{said}>TRUE</{said}>")), name)
    assert getattr(parse_ixml(ixml(extra=f"<TAKE_TYPE>{said}</TAKE_TYPE>")), name)
    assert not getattr(parse_ixml(ixml(extra=f"<{said}>FALSE</{said}>")), name)


@given(st.binary(max_size=400))
def test_any_bytes_give_a_record(data: bytes) -> None:
    parse_ixml(data)
    parse_ixml(b"<BWFXML>" + data + b"</BWFXML>")


@given(st.text(max_size=60), st.text(max_size=60))
def test_any_text_gives_a_record_and_a_rate_or_none(name: str, speed: str) -> None:
    parse_ixml(
        f"<BWFXML><SCENE>{name}</SCENE><SPEED><TIMECODE_RATE>{speed}</TIMECODE_RATE></SPEED></BWFXML>".encode(
            "utf-8", "replace"
        )
    )
    rate, _ = parse_speed(speed)
    assert rate is None or 1 <= rate <= 1000
