"""`rushlight help`: topics, a page set out at a terminal, and the same as plain text for a pipe."""

from __future__ import annotations

import json
import re

import pytest
from click.testing import CliRunner

from at_terminal import at_a_terminal
from rushlight.batch.cli.main import cli


def shown(*words: str) -> str:
    answer = CliRunner().invoke(cli, ["help", *words])
    assert answer.exit_code == 0, answer.output
    return answer.output


@pytest.mark.parametrize("topic", ["recipes", "lists", "burn-in", "encodings", "exit-codes"])
def test_a_topic_is_plain_text_in_a_pipe(topic: str) -> None:
    text = shown(topic)
    assert text.startswith("# ") and "<!--" not in text and "](" not in text and "\x1b" not in text


def test_the_topics_are_listed_with_what_they_are_about() -> None:
    text = shown()
    assert re.search(r"^burn-in +text, watermark", text, re.MULTILINE)
    assert all(len(line) <= 100 for line in text.splitlines())
    assert {"recipes", "lists"} <= {each["name"] for each in json.loads(shown("--json"))}
    assert json.loads(shown("Exit codes", "--json"))["text"].startswith("# Exit codes")


def test_a_terminal_is_shown_a_page_set_out_in_its_width() -> None:
    code, text = at_a_terminal("help", "exit-codes", columns=80)
    assert code == 0
    plain = re.sub(r"\x1b\[[0-9;]*m", "", text)
    assert "STOPPED" in plain and "|---|" not in plain
    assert max(map(len, plain.splitlines())) <= 80


def test_a_topic_that_is_none() -> None:
    answer = CliRunner().invoke(cli, ["help", "burnin"])
    assert answer.exit_code == 2 and "did you mean burn-in?" in answer.output
