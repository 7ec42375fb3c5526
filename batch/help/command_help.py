"""Help pages of commands: options in groups, three examples, and the nearest name for one that is not known."""

from __future__ import annotations

import difflib
from collections import defaultdict

import click

from rushlight.batch.help.examples import EXAMPLES
from rushlight.pipelines.visible_text import visible

__all__ = ["Commands", "HelpedCommand", "words_of"]

MANY = 8  # options: fewer than these stand in one group

# Groups in the order in which they are shown, each with the parameters that it holds.
GROUPS = {
    "What to make": (
        *("recipe", "only", "output", "range", "render still", "plan still", "framing", "origin", "out"),
        *(
            "write",
            "strict",
            "export",
            "size",
            "plot",
            "picture",
            "at",
            "compare",
            "to",
            "name",
            "outputs",
            "whole",
            "copy",
            "no_record",
        ),
    ),
    "Where things are": ("media", "sound", "manifest", "grades", "defaults"),
    "Where nothing else states it": ("encoding", "levels", "rate"),
    "Workers": (
        "workers",
        "scheduler",
        "tls_ca_file",
        "tls_cert",
        "tls_key",
        "map",
        "stalled_after",
        "graphics",
    ),
    "Through the night": (
        *("ready_by", "keep_free", "replaced", "hash_originals", "mode", "until", "hold", "still", "every"),
        *("stay", "queue", "on_finish", "on_failure", "on_late"),
    ),
    "A new recipe": (
        "new",
        *("description", "editorial", "viewing", "stills", "watermark", "lut", "display"),
    ),
    "A recipe, tried": ("check",),
    "Messages": ("all_clips", "quiet", "as_json", "help"),
}
_GROUP_OF = {name: group for group, names in GROUPS.items() for name in names}
OTHERS = "Others"
# Commands of rushlight itself, in the order of a working day.
ROOMS = {
    "A day and its night": ("day", "plan", "render", "queue", "serve"),
    "What was made": ("verify", "report", "handover", "space"),
    "Originals and looks": ("check", "look", "grades"),
    "What ships, and this machine": ("recipes", "encodings", "schema", "help", "doctor", "completion"),
}


def words_of(ctx: click.Context) -> str:
    """A command as it is typed after `rushlight`: `queue add`; empty for rushlight itself."""
    return ctx.command_path.partition(" ")[2]


class _Examples(click.Command):
    """Examples below the options."""

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        if examples := EXAMPLES.get(words_of(ctx)):
            with formatter.section("Examples"):
                for line, what in examples:
                    formatter.write_text(what)
                    with formatter.indentation():  # lines of commands stay whole, to be copied
                        formatter.write(f"{'':{formatter.current_indent}}{line}\n")


class HelpedCommand(_Examples):
    """A command whose help has its options in groups where there are many, and examples."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        groups: dict[str, list[tuple[str, str]]] = defaultdict(list)
        for parameter in self.get_params(ctx):
            record = parameter.get_help_record(ctx)
            if record is not None:
                name = parameter.name or ""
                own = _GROUP_OF.get(f"{ctx.info_name} {name}")  # `--still` is another in `day run`
                groups[own or _GROUP_OF.get(name, OTHERS)].append(record)
        rows = [row for found in groups.values() for row in found]
        if len(rows) < MANY:
            groups = defaultdict(list, {"Options": rows})
        for group in ("Options", *GROUPS, OTHERS):
            if groups[group]:
                with formatter.section(group):
                    formatter.write_dl(groups[group])


class Commands(_Examples, click.Group):
    """A group of such commands. Words of the command line that are wrong, such as names that a wildcard found, are shown with
    nothing hidden."""

    command_class = HelpedCommand

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        left = {name: self.commands[name] for name in self.list_commands(ctx)}
        rooms = ROOMS if set(left) >= set(ROOMS["What was made"][:2]) else {}
        for room, names in (*rooms.items(), ("Commands" if not rooms else OTHERS, tuple(left))):
            rows = [
                (name, left.pop(name).get_short_help_str(limit=400).rstrip("."))
                for name in names
                if name in left
            ]
            if rows:
                with formatter.section(room):
                    formatter.write_dl(rows)

    def invoke(self, ctx: click.Context) -> object:
        try:
            return super().invoke(ctx)
        except click.ClickException as error:
            error.message = visible(error.message, lines=True)
            raise

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError:
            near = difflib.get_close_matches(args[0].lower(), self.list_commands(ctx), 2)
            if near and not args[0].startswith(
                "-"
            ):  # an error of ours: click 8.4's adds such words of its own
                meant = " or ".join(f"`{name}`" for name in near)
                raise click.UsageError(f"No such command {args[0]!r}. Did you mean {meant}?", ctx) from None
            raise
