"""Help pages: options in groups, examples that are commands, and the nearest name of a command."""

from __future__ import annotations

import shlex
from collections.abc import Iterator

import click
import pytest
from click.testing import CliRunner

from rushlight.batch.cli.main import cli
from rushlight.batch.help.command_help import GROUPS
from rushlight.batch.help.examples import EXAMPLES


def commands(group: click.Group = cli, above: str = "") -> Iterator[tuple[str, click.Command]]:
    """Every command by what is typed for it, groups as well."""
    for name, command in group.commands.items():
        words = f"{above} {name}".strip()
        yield words, command
        if isinstance(command, click.Group):
            yield from commands(command, words)


ALL = dict(commands())


def test_options_stand_in_groups_each_once() -> None:
    text = CliRunner().invoke(cli, ["render", "--help"]).output
    headings = [line.strip(":") for line in text.splitlines() if line.endswith(":") and not line[0].isspace()]
    assert headings == [*(group for group in GROUPS if not group.startswith("A ")), "Examples"]
    render = ALL["render"]
    for parameter in render.params:
        if isinstance(parameter, click.Option) and not parameter.hidden:
            assert text.count(f"  {parameter.opts[0]} ") == 1, parameter.opts
    assert "-h, --help" in text and "Others" not in text


def test_few_options_stay_together() -> None:
    text = CliRunner().invoke(cli, ["report", "--help"]).output
    assert "Options:" in text and not any(f"{group}:" in text for group in GROUPS)


def test_no_name_of_a_parameter_is_in_two_groups() -> None:
    names = [name for group in GROUPS.values() for name in group]
    assert len(names) == len(set(names))


def test_every_command_stands_in_a_room_of_the_first_page() -> None:
    text = CliRunner().invoke(cli, ["--help"]).output
    assert "Others" not in text and "..." not in text.replace("[ARGS]...", "")
    for name in cli.commands:
        assert text.count(f"\n  {name} ") == 1, name


@pytest.mark.parametrize("words", ["", *ALL])
def test_every_command_has_three_examples_that_it_takes(words: str) -> None:
    text = CliRunner().invoke(cli, [*words.split(), "--help"]).output
    assert len(EXAMPLES[words]) == 3
    for line, what in EXAMPLES[words]:
        assert f"    {line}\n" in text + "\n", "an example is one line, to be copied"
        assert what.endswith((":", "?")) and what in text
        taken = line.split(" > ")[0].split(" | ")[0].removeprefix('eval "$(').removesuffix(')"')
        program, *typed = shlex.split(taken)
        assert program == "rushlight"
        assert not words or " ".join(typed).startswith(words) or words == "day"
        parsed(typed)


def parsed(typed: list[str]) -> None:
    """A command line taken apart as it will be, and not run."""
    command: click.Command = cli
    context: click.Context | None = None
    while isinstance(command, click.Group):
        name, *typed = typed
        context = click.Context(command, parent=context, info_name=name)
        command = command.commands[name]
    command.make_context(command.name, typed, parent=context)


def test_an_example_of_an_option_that_is_not_there_would_be_seen() -> None:
    with pytest.raises(click.UsageError):
        parsed(["render", "clips.csv", "--owt", "out"])


def test_no_example_is_of_a_command_that_is_gone() -> None:
    assert set(EXAMPLES) == {"", *ALL}


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("rendr", "`render`"), ("Verify", "`verify`"), ("quue", "`queue`"), ("queue lst", "`list`")],
)
def test_a_command_that_is_not_there(typed: str, meant: str) -> None:
    answer = CliRunner().invoke(cli, typed.split())
    assert answer.exit_code == 2
    assert f"Did you mean {meant}" in answer.output


def test_the_nearest_name_is_said_once_whatever_click_says_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    """click 8.4 and later add a name to the message when they show it."""

    class NoSuchCommand(click.UsageError):
        def format_message(self) -> str:
            return f"{self.message} Did you mean 'render'?"

    def resolve(self: click.Group, ctx: click.Context, args: list[str]) -> None:
        raise NoSuchCommand(f"No such command {args[0]!r}.", ctx)

    monkeypatch.setattr(click.Group, "resolve_command", resolve)
    answer = CliRunner().invoke(cli, ["rendr"])
    assert answer.exit_code == 2
    assert answer.output.endswith("Error: No such command 'rendr'. Did you mean `render`?\n")


def test_a_command_like_no_other() -> None:
    answer = CliRunner().invoke(cli, ["xyzzy"])
    assert answer.exit_code == 2 and "Did you mean" not in answer.output
