"""`rushlight recipes`: those that ship, one to copy from, one begun from answers, and one tried on a chart."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path

import click

from rushlight.batch.exit_codes import DONE
from rushlight.batch.help.command_help import HelpedCommand
from rushlight.batch.help.completion import recipe_names
from rushlight.batch.terminal.console import say, say_json, say_wrapped
from rushlight.batch.terminal.terminal_or_log import is_terminal
from rushlight.batch.terminal.text_tables import print_table
from rushlight.pipelines.errors import OptionError

__all__ = ["recipes_command"]

Command = Callable[..., int]
PATH = click.Path(path_type=Path)
# What is asked for a new recipe; the same words stand beside its options.
QUESTIONS = {
    "description": "What it is for, in a line",
    "editorial": "Codec of the movies for editorial, or none",
    "viewing": "Codec of the viewing copies, or none",
    "stills": "Kinds of stills, with commas between, or none",
    "size": "Raster of editorial and stills; of viewing copies where there is no editorial",
    "watermark": "Watermark of the viewing copies",
    "lut": "Show LUT; none where it is ACES 2.0",
    "display": "Display that it is made for",
}


def recipes_command(answering: Callable[[Command], Command]) -> click.Command:
    """The command, with what main.py gives every command."""

    @click.argument("name", required=False, default="", shell_complete=recipe_names)
    @click.option(
        "--new", type=PATH, metavar="FILE.toml", help="Begin a recipe from a few answers, commented."
    )
    @click.option(
        "--check",
        metavar="RECIPE",
        default="",
        shell_complete=recipe_names,
        help="Read a recipe, and say what it makes.",
    )
    @click.option(
        "--to",
        type=PATH,
        metavar="FOLDER",
        help="With --check: make it of one frame of a chart; the folder for what is made.",
    )
    @click.option(
        "--test-clip",
        metavar="RECIPE",
        default="",
        shell_complete=recipe_names,
        help="With --to: a clip of known colours as the recipe delivers, to compare a player by.",
    )
    @click.option("--json", "as_json", is_flag=True, help="The list, or the recipe, as one JSON document.")
    @answering
    def recipes(
        name: str,
        new: Path | None,
        check: str,
        to: Path | None,
        test_clip: str,
        as_json: bool,
        **answers: str | None,
    ) -> int:
        """List the recipes that ship, print one to copy from, begin one of your own, or try one on a chart."""
        if new:
            return _begin(new, answers, as_json)
        if check:
            return _check(check, to, as_json)
        if test_clip:
            return _test_clip(test_clip, to, as_json)
        from rushlight.batch.cli.catalogue_commands import show_recipes

        return show_recipes(name, as_json=as_json)

    command: Command = recipes
    for key, words in reversed(QUESTIONS.items()):
        command = click.option(f"--{key}", help=f"With --new. {words}.")(command)
    return click.command("recipes", cls=HelpedCommand)(command)


def _begin(file: Path, given: dict[str, str | None], as_json: bool) -> int:
    from rushlight.batch.api.recipes import Answers, new_recipe

    answers = {field.name: str(field.default) for field in fields(Answers)}
    answers |= {key: value for key, value in given.items() if value is not None}
    if is_terminal(sys.stdin) and is_terminal(sys.stdout) and not any(given.values()):
        answers = {key: click.prompt(words, default=answers[key]) for key, words in QUESTIONS.items()}
    text = new_recipe(file, Answers(**answers))
    if as_json:
        say_json({"file": str(file), "text": text})
    else:
        say_wrapped(f"written: {file}; every line may be changed")
        say_wrapped(f"then: rushlight recipes --check {file} --to trial")
    return DONE


def _check(name: str, to: Path | None, as_json: bool) -> int:
    from rushlight.batch.api.recipes import try_recipe

    found = try_recipe(name, to=to)
    if as_json:
        say_json(found.document())
        return DONE
    print_table(
        ["output", "what", "raster", "state"], [[o.name, o.what, o.size, o.state] for o in found.outputs]
    )
    for text in found.notes:
        say_wrapped(f"note: {text}")
    for frame in found.frames:
        say_wrapped(f"{frame.output}: {frame.path}")
    if not found.frames:
        say("The recipe is valid. --to FOLDER makes it of one frame of a chart.")
    return DONE


def _test_clip(name: str, to: Path | None, as_json: bool) -> int:
    from rushlight.batch.api.recipes import make_test_clips

    if to is None:
        raise OptionError("names no folder for the clips; --to FOLDER does", key="--test-clip")
    made = make_test_clips(name, to=to)
    if as_json:
        say_json(made.document())
        return DONE
    for output, path, tags in made.movies:
        say_wrapped(f"{output}: {path}, tagged {tags}")
    say_wrapped(f"values to compare: {made.page}, and a CSV beside each clip")
    return DONE
