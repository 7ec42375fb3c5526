"""What `rushlight doctor` says, line by line, and as a document."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from rushlight.batch.api import doctor as api
from rushlight.batch.cli.main import cli
from rushlight.batch.doctor.finding import Finding
from rushlight.batch.doctor.speed import Speed


@pytest.fixture(autouse=True)
def a_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    findings = [
        Finding(about="system", found="Linux"),
        Finding(about="codecs", found="lacks one", weight="in the way", advice="install it"),
    ]
    speeds = [
        Speed(recipe="overnight", frames_a_second=23.7, stills_seconds=1.94),
        Speed(recipe="stills", frames_a_second=None, stills_seconds=1.9),
    ]
    monkeypatch.setattr(api, "examine", lambda folders: findings)
    monkeypatch.setattr(api, "measure", lambda recipes, **_: [s for s in speeds if s.recipe in recipes])


def test_findings_and_speeds() -> None:
    answer = CliRunner().invoke(cli, ["doctor"])
    lines = answer.output.splitlines()
    assert answer.exit_code == 1
    assert lines[:2] == ["well        system: Linux", "IN THE WAY  codecs: lacks one; install it"]
    assert any(line.split() == ["overnight", "24", "1.9"] for line in lines)
    assert any(line.split() == ["stills", "1.9"] for line in lines)
    assert all(len(line) <= 100 for line in lines)


def test_without_speed_and_as_a_document() -> None:
    answer = CliRunner().invoke(cli, ["doctor", "--no-speed", "--json"])
    document = json.loads(answer.output)
    assert document["speeds"] == [] and document["findings"][1]["weight"] == "in the way"


def test_one_recipe_alone() -> None:
    answer = CliRunner().invoke(cli, ["doctor", "--recipe", "stills", "--json"])
    assert [each["recipe"] for each in json.loads(answer.output)["speeds"]] == ["stills"]
