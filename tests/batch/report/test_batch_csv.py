"""The spreadsheet of a batch: read back with csv it says what the records say, and no cell is a formula."""

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recorded import movie, recorded, still
from rushlight.batch.job_log import failure_record
from rushlight.batch.records.job_record import read_record
from rushlight.batch.report.batch_csv import COLUMNS, batch_csv, cells_of, guarded

UNITY = {"slope": [1, 1, 1], "offset": [0, 0, 0], "power": [1, 1, 1], "saturation": 1}
RECORD = read_record(
    recorded(
        "A001C003.mov",
        movie(
            path="editorial/A001C003.mov", sound=[{"codec": "pcm_s24le", "channels": 2, "sample_rate": 48000}]
        ),
        still(path="stills/A001C003.jpg"),
        reel="A001",
        rate="24000/1001",
        first_timecode="10:00:00:00",
        last_timecode="10:00:01:23",
        error="",
        source={"path": "/cards/A001/A001C003.mov"},
        look={
            "digest": "",
            "description": "LogC3, CDL, farrow",
            "grade": {**UNITY, "source": "day.csv:2"},
            "layers": [{"layer": "encoding", "name": "LogC3"}, {"layer": "show LUT", "name": "farrow"}],
        },
        colour={"digest": "rushlight-colour-1:ab", "pictures": [], "tiles": {}, "sensitivity": {}},
        row={"scene": "41", "take": "2", "circled": "yes", "approved_by": "", "note": "-"},
        warnings=['a "quoted", word', "two\nlines"],
    )
)
ASIDE = read_record(
    failure_record("row-1", "=2+3.mov", "set aside", "-day.csv:9: x").plain()
    | {"row": {"scene": "-4", "take": "@x", "approved_by": "\tK", "camera": "\rB"}}
)


def read(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream, strict=True))


def test_what_is_written_is_what_the_records_say(tmp_path: Path) -> None:
    (tmp_path / "batch.csv").write_bytes(batch_csv([RECORD, ASIDE]).encode())
    done, aside = read(tmp_path / "batch.csv")
    assert done == {column: str(value) for column, value in cells_of(RECORD).items()}
    assert done["approved_by"] == "" and done["error"] == ""  # nobody approved, nothing failed
    told = ("scene", "take", "camera", "circled", "rate", "seconds", "sound", "original", "show_lut")
    assert [done[c] for c in told] == [
        "41", "2", "A", "yes", "23.976", "2.002", "editorial: 2 x pcm_s24le 48000 Hz", "/cards/A001/A001C003.mov", "farrow",
    ]  # fmt: skip
    assert done["warnings"] == 'a "quoted", word; two\nlines'
    assert aside["clip"] == "'=2+3.mov" and aside["error"] == "'-day.csv:9: x" and aside["take"] == "'@x"
    assert aside["approved_by"] == r"'\tK" and aside["camera"] == r"'\rB"
    assert aside["scene"] == "-4" and aside["frames"] == "0" and aside["rate"] == aside["seconds"] == ""
    text = (tmp_path / "batch.csv").read_bytes()
    assert text.startswith(",".join(COLUMNS).encode() + b"\r\n") and text.endswith(b"\r\n")


@pytest.mark.parametrize(
    ("cell", "written"),
    [("", ""), ("-", "'-"), ("-1.5", "-1.5"), ("+3", "+3"), (".5", ".5"), ("-1-1", "'-1-1"), ("=1", "'=1"), ("A-1", "A-1")],
)  # fmt: skip
def test_text_is_guarded_and_numbers_stay_numbers(cell: str, written: str) -> None:
    assert guarded(cell) == written


@given(st.text(max_size=30))
def test_no_text_begins_as_a_formula_does_and_none_is_lost(text: str) -> None:
    found = guarded(text)
    assert found in (text, f"'{text}") and (found == "" or found[0] not in "=@\t\r")
    if found[:1] in ("+", "-"):
        float(found)
