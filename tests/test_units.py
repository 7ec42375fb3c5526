"""The unit files of the handbook's farm say what its commands say, and systemd takes them, where it is there."""

from __future__ import annotations

import configparser
import re
import shutil
import subprocess
from pathlib import Path

import pytest

PAGE = (Path(__file__).resolve().parent.parent / "docs" / "a-farm-of-three-machines.md").read_text()
UNITS = re.findall(r"(rushlight-\w+\.service)`.*?```ini\n(.*?)```", PAGE, re.S)


def read(text: str) -> configparser.ConfigParser:
    unit = configparser.ConfigParser(interpolation=None)
    unit.optionxform = str  # type: ignore[assignment,method-assign]
    unit.read_string(text)
    return unit


def test_both_are_there() -> None:
    assert sorted(name for name, _ in UNITS) == ["rushlight-scheduler.service", "rushlight-worker.service"]


@pytest.mark.parametrize(("name", "text"), UNITS, ids=[name for name, _ in UNITS])
def test_a_unit_runs_the_command_of_the_page(name: str, text: str) -> None:
    said = re.search(r'A="(.*)"', PAGE)[1].split()  # type: ignore[index]
    kind = name.removeprefix("rushlight-").removesuffix(".service")
    line = re.search(rf"dask {kind} \$A (.*)", PAGE)[1].split()  # type: ignore[index]
    words = read(text)["Service"]["ExecStart"].split()
    assert words[0] == "/opt/rushlight/bin/dask" and words[1] == kind
    assert sorted(words[2:]) == sorted([*said, *line])
    assert read(text)["Service"]["Environment"].startswith("DASK_TEMPORARY_DIRECTORY=")


@pytest.mark.skipif(not shutil.which("systemd-analyze"), reason="no systemd here")
@pytest.mark.parametrize(("name", "text"), UNITS, ids=[name for name, _ in UNITS])
def test_systemd_takes_it(name: str, text: str, tmp_path: Path) -> None:
    place = tmp_path / name
    there = text.replace("/opt/rushlight/bin/dask", "/bin/true").replace("User=dailies", "User=root")
    place.write_text(there)
    done = subprocess.run(["systemd-analyze", "verify", place], capture_output=True, text=True)
    ours = [line for line in (done.stdout + done.stderr).splitlines() if name in line or str(place) in line]
    assert not ours, ours
