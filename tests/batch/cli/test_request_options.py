"""The options of what is to be made, as commands take them."""

from __future__ import annotations

import click
import pytest
from click.testing import CliRunner

from here import run
from rushlight.batch.cli.request_options import part_options, request_options


def test_what_is_repeated_comes_in_order() -> None:
    found: dict[str, object] = {}

    @click.command()
    @request_options
    @part_options
    def command(**options: object) -> int:
        found.update(options)
        return 0

    words = ["--output", "b", "--output", "a", "--range", "A=1-2", "--still", "A=1", "--only", "scene=1"]
    assert CliRunner().invoke(command, words).exit_code == 0
    assert found["output"] == ("b", "a") and found["range"] == ("A=1-2",) and found["still"] == ("A=1",)
    assert found["only"] == ("scene=1",) and found["recipe"] is None


@pytest.mark.parametrize("command", ["plan", "render"])
def test_help_says_that_out_is_exclusive(command: str) -> None:
    said = " ".join(run(command, "--help")[1].split())
    assert "--range CLIP=IN-OUT" in said and "OUT exclusive" in said and "--still CLIP=TIMECODE" in said
