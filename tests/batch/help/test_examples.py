"""Examples say what they are for; that each is a command line is test_command_help.py's."""

from __future__ import annotations

from rushlight.batch.help.examples import EXAMPLES


def test_no_two_are_the_same_and_each_fits_a_terminal() -> None:
    lines = [line for name, rows in EXAMPLES.items() if name for line, _ in rows]
    assert len(lines) - len(set(lines)) <= 6  # a group shows some of its commands' own
    assert all(len(line) <= 76 for line in lines)
