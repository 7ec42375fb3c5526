"""Verify's verdicts, kept beside the log."""

from pathlib import Path

import pytest

from rushlight.batch.records.verdicts import VERDICTS, Verdicts
from rushlight.batch.report.kept_results import keep_verdicts, kept_verdicts


def test_what_is_kept_reads_back(tmp_path: Path) -> None:
    assert kept_verdicts(tmp_path) is None
    document = {"schema": VERDICTS, "measured": "", "clips": [], "weather": "rain"}
    keep_verdicts(Verdicts.read(document), tmp_path)
    found = kept_verdicts(tmp_path)
    assert found is not None and found.plain() == document
    assert {p.name for p in (tmp_path / "log").iterdir()} == {"verify.json"}


@pytest.mark.parametrize("text", ["", "{", "[]", '{"schema": "another"}', "\x00"])
def test_what_does_not_read_is_as_if_it_were_not_there(text: str, tmp_path: Path) -> None:
    (tmp_path / "log").mkdir()
    (tmp_path / "log" / "verify.json").write_text(text)
    assert kept_verdicts(tmp_path) is None
