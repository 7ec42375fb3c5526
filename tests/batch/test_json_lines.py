"""JSON lines read after whatever became of them: every line is judged alone, and what is wrong is said with its number."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.json_lines import parse_lines, plain_json
from rushlight.pipelines.errors import OptionError

LINES = [{"job": f"j{n}", "clip": f"A00{n}.mov", "n": n} for n in range(3)]


def anything(value: object) -> object:
    return value


def text_of(*lines: object) -> bytes:
    return b"".join(json.dumps(line).encode() + b"\n" for line in lines)


@pytest.mark.parametrize(
    ("damage", "says"),
    [
        (b'{"job":"j1","clip":"A001.mov","n":', "is torn or damaged at character 35"),
        (b'{"job":"j1","clip":"A001.mov","n":NaN}', "holds NaN, which is no number"),
        (b'{"job":"j1","clip":"A001.mov","n":-Infinity}', "no number"),
        (b'{"job":"j1","clip":"A001.mov","n":1e400}', "holds 1e400"),
        (b'{"job":"j1","clip":"A001.mov","n":' + b"[" * 100_000 + b"}", "nests too deep"),
        (b'{"job":"j1","clip":"A001.mov","n":' + b"9" * 5000 + b"}", "digits"),
        (b'{"job":"j1","clip":"A001.mov"} {"x":1}', "Extra data"),
    ],
)
def test_a_damaged_line_costs_itself_and_names_its_clip(damage: bytes, says: str) -> None:
    data = text_of(LINES[0]) + damage + b"\n" + text_of(LINES[2])
    found, refused = parse_lines(data, anything, file="log/jobs.jsonl")
    assert found == [(1, LINES[0]), (3, LINES[2])]
    (one,) = refused
    assert (one.job, one.clip, one.error.line, one.error.file) == ("j1", "A001.mov", 2, "log/jobs.jsonl")
    assert says in str(one.error) and not one.mild


def test_what_is_no_object_and_names_nobody() -> None:
    for line in (b"[1]", b"null", b"\xff\xfe", b"\0\0\0", b'"job"'):
        (one,) = parse_lines(line + b"\n", anything, file="x")[1]
        assert one.name == "line 1" and not one.mild


def test_a_torn_last_line_is_mild_and_one_that_was_closed_off_is_not() -> None:
    torn = text_of(*LINES)[:-10]
    assert [each.mild for each in parse_lines(torn, anything, file="x")[1]] == [True]
    assert [each.mild for each in parse_lines(torn + b"\n", anything, file="x")[1]] == [False]
    assert [each.mild for each in parse_lines(b"x\n" + torn, anything, file="x")[1]] == [False, True]


def test_names_that_are_not_utf_8_are_kept() -> None:
    line = '{"clip":"Caf\udce9.mov"}'.encode("utf-8", "surrogateescape")
    assert parse_lines(line + b"\n", anything, file="x")[0] == [(1, {"clip": "Caf\udce9.mov"})]


def test_what_a_check_says_has_the_line() -> None:
    def check(value: dict) -> dict:
        if value["n"] == 1:
            raise OptionError("is odd", key="n")
        return value

    found, refused = parse_lines(text_of(*LINES), check, file="x")
    assert [number for number, _ in found] == [1, 3] and str(refused[0].error) == "x:2: n: is odd"


@given(st.binary(max_size=200))
def test_no_bytes_are_anything_but_values_or_sentences(data: bytes) -> None:
    found, refused = parse_lines(data, anything, file="x")
    assert len(found) + len(refused) == sum(bool(line.strip()) for line in data.split(b"\n"))
    for document in data.split(b"\n"):
        try:
            plain_json(document)
        except ValueError as error:
            assert str(error)


@given(
    st.recursive(
        st.none()
        | st.booleans()
        | st.integers()
        | st.floats(allow_nan=False, allow_infinity=False)
        | st.text(),
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
        max_leaves=20,
    )
)
def test_the_quick_reader_gives_what_the_plain_one_does(value: object) -> None:
    text = json.dumps(value)
    assert repr(plain_json(text.encode())) == repr(json.loads(text)) == repr(value)
