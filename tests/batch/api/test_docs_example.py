"""The example of docs/reference/python-api.md runs as it stands."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import rushlight
from here import farm_here, small_day

PAGE = Path(__file__).resolve().parents[3] / "docs" / "reference" / "python-api.md"
__all__ = ["farm_here"]


@pytest.mark.usefixtures("farm_here")
def test_the_example_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (code,) = re.findall(r"^```python\n(.*?)^```$", PAGE.read_text(), re.MULTILINE | re.DOTALL)
    small_day(tmp_path / "cards")
    (tmp_path / "cards" / "day.csv").rename(tmp_path / "day.csv")
    code = code.replace('recipe="overnight"', f'recipe="{tmp_path / "cards" / "two.toml"}"')
    monkeypatch.chdir(tmp_path)
    said: list[object] = []
    exec(code, {"__name__": "__main__", "log": said.append})
    checked = rushlight.verify("out")
    assert len(checked.clips) == 2
    texts = [text for text in said if isinstance(text, str)]
    assert texts == ["2 delivered, 0 not", f"{len(checked.failed)} of 2 fail"]
    assert sum(isinstance(event, dict) and event["event"] == "done" for event in said) == 2
