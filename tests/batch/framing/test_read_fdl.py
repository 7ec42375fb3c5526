"""Framing decision lists read: what they say, and what is none of them."""

import json
import re
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from framings import canvas, context, decision, document, fdl_text
from rushlight.batch.framing.read_fdl import Intent, Region, parse_fdl
from rushlight.pipelines.errors import FramingError

FRAMING, PROTECTION = (222.4, 710.511, 4003.2, 1674.978), (0, 617.5, 4448, 1861)
WHOLE = context(
    "A Cam",
    canvas(
        "gate",
        (4448, 3096),
        decision("gate", "fi1", FRAMING, PROTECTION),
        decision("gate", "fi2", FRAMING),
        squeeze=1.8,
        effective=(0, 12.5, 4448, 3000),
    ),
)


def test_a_list_as_it_stands() -> None:
    found = parse_fdl(fdl_text(WHOLE), file="show.fdl")
    assert found.file == "show.fdl" and found.default_intent == "fi1"
    assert found.intents == (Intent(id="fi1", label="Theatrical"), Intent(id="fi2", label="Streaming"))
    (a_cam,) = found.contexts
    assert (a_cam.label, a_cam.clips) == ("A Cam", ())
    (gate,) = a_cam.canvases
    assert (gate.id, gate.width, gate.height, gate.squeeze) == ("gate", 4448, 3096, 1.8)
    assert gate.effective == Region(x=0, y=12.5, width=4448, height=3000)
    first, second = gate.decisions
    assert first.framing == Region(x=222.4, y=710.511, width=4003.2, height=1674.978)
    assert first.protection == Region(x=0, y=617.5, width=4448, height=1861)
    assert (second.id, second.intent, second.protection) == ("gate-fi2", "fi2", None)


@pytest.mark.parametrize(
    ("clip_id", "names"),
    [
        ({"clip_name": "A001C001"}, ("A001C001",)),
        ({"clip_name": "one", "file": "cards/A001/A001C001.mov"}, ("one", "A001C001.mov")),
        (
            {"clip_name": "A", "sequence": {"value": "x/A003.####.exr", "idx": "#", "min": 1, "max": 9}},
            ("A", "A003"),
        ),
    ],
)
def test_the_names_of_a_context_for_one_clip(clip_id: dict[str, object], names: tuple[str, ...]) -> None:
    text = fdl_text(context("one", canvas("c", (64, 64)), clip_id=clip_id))
    assert parse_fdl(text).contexts[0].clips == names


@pytest.mark.parametrize("version", [{"major": 1, "minor": 0}, {"major": 2, "minor": 0}])
def test_both_published_versions_are_read(version: dict[str, int]) -> None:
    assert parse_fdl(_with(version=version)).contexts == parse_fdl(PLAIN).contexts


@pytest.mark.parametrize("name", ["fi2", "FI2", "Streaming", " streaming "])
def test_an_intent_by_id_or_label(name: str) -> None:
    assert parse_fdl(fdl_text(WHOLE)).intent(name).id == "fi2"


def test_the_lists_own_intent_and_one_that_there_is_not() -> None:
    found = parse_fdl(fdl_text(WHOLE), file="show.fdl")
    assert found.intent("default").id == "fi1"
    with pytest.raises(
        FramingError, match=r"show.fdl has no framing intent '1.85'; it has 'Theatrical' \(fi1\), "
    ):
        found.intent("1.85")
    same = parse_fdl(fdl_text(intents=(("a", "TV"), ("b", "TV"))))
    with pytest.raises(
        FramingError, match=r"2 framing intents 'TV'; say which by its id: 'TV' \(a\), 'TV' \(b\)"
    ):
        same.intent("TV")


PLAIN = fdl_text(WHOLE)


def _with(**changes: object) -> str:
    return json.dumps(document(WHOLE) | changes)


BENT = document(context("A", canvas("gate", (4448, 3096), decision("gate", "fi1", (-1, 0, 100, 100)))))
TOO_WIDE = document(context("A", canvas("gate", (4448, 3096), decision("gate", "fi1", (0, 0, 5000, 100)))))
NO_INTENT = document(context("A", canvas("gate", (4448, 3096), decision("gate", "fi9", (0, 0, 100, 100)))))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "show.fdl:1: is no framing decision list, which is JSON: Expecting value"),
        ('{"uuid": ', "which is JSON"),
        ("[1]", "Expected object, found array"),
        ("[" * 100_000, "it nests too deep"),
        ("{}", "Required property 'uuid' not found"),
        (_with(version={"major": 3, "minor": 1}), "it is of version 3.1; 1.0 and 2.0 are read"),
        (
            PLAIN.replace("4448", "99999999999999999999"),
            "holds the number 99999999999999999999, which no picture has",
        ),
        (PLAIN.replace("4448", "1e999"), "holds the number 1e999"),
        (PLAIN.replace("4448", "NaN"), "holds the number NaN"),
        (_with(extra=1), "/extra: Additional property 'extra'"),
        (json.dumps(BENT), "/contexts/0/canvases/0/framing_decisions/0/anchor_point/x: Minimum value is 0"),
        (json.dumps(TOO_WIDE), "framing decision dimensions .5000x100. exceeds canvas dimensions"),
        (json.dumps(NO_INTENT), "Framing Intent ID fi9 not in framing_intents"),
    ],
)
def test_what_is_no_list_is_refused_with_the_reason(text: str, words: str) -> None:
    with pytest.raises(FramingError) as caught:
        parse_fdl(text, file="show.fdl")
    assert re.search(words, str(caught.value)), caught.value
    assert caught.value.file == "show.fdl" and len(caught.value.text) < 900


@given(st.integers(0, len(PLAIN) - 1), st.integers(0, 40), st.text(max_size=6))
def test_damage_is_a_clear_error_or_a_list(at: int, gone: int, put: str) -> None:
    try:
        parse_fdl(PLAIN[:at] + put + PLAIN[at + gone :], file="show.fdl")
    except FramingError as error:
        assert error.file == "show.fdl"


def test_the_library_is_loaded_by_the_first_list_alone() -> None:
    import subprocess

    code = (
        "import sys, rushlight.batch.plan.prepare; sys.exit('fdl' in sys.modules or 'fdl_ffi' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
