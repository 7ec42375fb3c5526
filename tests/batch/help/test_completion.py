"""Completion in shells: what is offered for a line that is being typed. Bash is asked itself; zsh and fish where they are installed."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from rushlight.batch.cli.main import cli
from rushlight.batch.help.completion import script
from rushlight.pipelines.errors import OptionError

LIST = "clip,scene,take,note\nA001 C003,12,1,the good one\nA001C004,13,2,\n"


@pytest.fixture
def here(tmp_path: Path) -> Path:
    (tmp_path / "clips.csv").write_text(LIST)
    return tmp_path


def offered(folder: Path, line: str, shell: str = "zsh") -> list[str]:
    """What a shell is offered for the last word of a line; a line that ends in a space has an empty one."""
    words = line.split(" ")
    asked = {
        "COMP_WORDS": line,
        "COMP_CWORD": str(len(words) - 1) if shell != "fish" else words[-1],
        "_RUSHLIGHT_COMPLETE": f"{shell}_complete",
    }
    with contextlib.chdir(folder):
        done = CliRunner().invoke(cli, prog_name="rushlight", env=asked)
    assert done.exit_code == 0
    lines = done.output.splitlines()
    return lines[1::3] if shell == "zsh" else [each.split(",", 1)[1].split("\t")[0] for each in lines if each]


@pytest.mark.parametrize("shell", ["zsh", "fish"])
def test_what_is_offered(here: Path, shell: str) -> None:
    assert offered(here, "rushlight ver", shell) == ["verify"]
    assert offered(here, "rushlight render --recipe ov", shell) == ["overnight"]
    assert offered(here, "rushlight look clips.csv ", shell) == ["A001 C003", "A001C004"]
    assert offered(here, "rushlight look clips.csv A001C", shell) == ["A001C004"]
    assert offered(here, "rushlight render clips.csv --only sc", shell) == ["scene="]
    assert offered(here, "rushlight plan clips.csv --only scene=1", shell) == ["scene=12", "scene=13"]
    assert "ARRI LogC3/Wide Gamut 3" in offered(here, "rushlight plan --encoding AR", shell)
    assert offered(here, "rushlight help enc", shell) == ["encodings"]


def test_a_list_that_cannot_be_read_offers_nothing(here: Path) -> None:
    (here / "broken.csv").write_bytes(b"\0\xff")
    assert offered(here, "rushlight look broken.csv ") == []
    assert offered(here, "rushlight look not-there.csv ") == []
    assert "scene=" in offered(here, "rushlight plan broken.csv --only sc")  # known columns all the same


def test_bash_itself(here: Path) -> None:
    bash = shutil.which("bash")
    assert bash
    (here / "rushlight").write_text(
        f'#!/bin/sh\nexec {sys.executable} -c "from rushlight.batch.cli.main import cli; cli(prog_name=\'rushlight\')" "$@"\n'
    )
    (here / "rushlight").chmod(0o755)
    asking = script("bash") + (
        '\ncompopt() { :; }\nask() { COMP_WORDS=("$@"); COMP_CWORD=$((${#COMP_WORDS[@]} - 1)); COMPREPLY=();'
        ' _rushlight_completion rushlight; printf "%s|" "${COMPREPLY[@]}"; echo; }\n'
        "ask rushlight ver\nask rushlight look clips.csv A001\n"
        "ask rushlight plan clips.csv --only scene =\nask rushlight plan clips.csv --only scene = 13\n"
        "ask rushlight plan clips.csv --only note = the\n"
    )
    done = subprocess.run(
        [bash, "--norc", "-c", asking],
        cwd=here,
        env={**os.environ, "PATH": f"{here}:{os.environ['PATH']}"},
        capture_output=True,
        text=True,
    )
    assert done.stdout.splitlines() == [
        "verify|",
        "A001\\ C003|A001C004|",
        "12|13|",
        "13|",
        "the\\ good\\ one|",
    ], done.stderr


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_script_is_one_that_the_shell_takes(shell: str, tmp_path: Path) -> None:
    text = script(shell)
    assert "_RUSHLIGHT_COMPLETE" in text and "rushlight" in text
    program = shutil.which(shell)
    if program is None:
        pytest.skip(f"{shell} is not installed here")
    file = tmp_path / "script"
    file.write_text(text)
    done = subprocess.run([program, "-n", str(file)], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def test_a_shell_that_there_is_none_for() -> None:
    with pytest.raises(OptionError, match="bash, fish, zsh"):
        script("tcsh")
