"""The commands about rushlight itself are there, and do what their own tests show."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from rushlight.batch.cli.main import cli


@pytest.mark.parametrize("command", ["help", "completion", "doctor"])
def test_they_are_commands(command: str) -> None:
    assert command in cli.commands


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_is_printed_for_a_shell(shell: str) -> None:
    answer = CliRunner().invoke(cli, ["completion", shell])
    assert answer.exit_code == 0 and f"{shell}_complete" in answer.output


def test_a_shell_that_there_is_none_for() -> None:
    answer = CliRunner().invoke(cli, ["completion", "tcsh"])
    assert answer.exit_code == 2 and "bash, fish, zsh" in answer.output
