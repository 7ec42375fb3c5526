"""`rushlight serve`: the live page for browsers, and what its owner is told of it."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rushlight.batch.exit_codes import DONE
from rushlight.batch.help.command_help import HelpedCommand
from rushlight.batch.terminal.console import say, say_json
from rushlight.batch.terminal.terminal_or_log import is_terminal

if TYPE_CHECKING:
    from rushlight.batch.api.serve import Serving

__all__ = ["serve_command"]

Command = Callable[..., int]
PATH = click.Path(path_type=Path)


def serve_command(answering: Callable[[Command], Command]) -> click.Command:
    """The command, with what main.py gives every command."""

    @click.command(cls=HelpedCommand)
    @click.argument("folder", metavar="DIR", type=PATH)
    @click.option(
        "--port", type=click.IntRange(0, 65535), default=0, help="Port to listen on.  [default: a free one]"
    )
    @click.option("--lan", is_flag=True, help="Let other machines of the network look too, such as a phone.")
    @click.option(
        "--name",
        multiple=True,
        metavar="HOST",
        help="A name that this machine is reached by: HOST or HOST:PORT. Repeatable.",
    )
    @click.option(
        "--tls-cert",
        type=PATH,
        help="A certificate for this machine (PEM); the connection is encrypted with it.",
    )
    @click.option("--tls-key", type=PATH, help="The key of that certificate (PEM).")
    @click.option("--json", "as_json", is_flag=True, help="The address, as one JSON document.")
    @answering
    def serve(
        folder: Path,
        port: int,
        lan: bool,
        name: tuple[str, ...],
        tls_cert: Path | None,
        tls_key: Path | None,
        as_json: bool,
    ) -> int:
        """Serve the live page of DIR, or of a day (day.toml), to browsers, read-only, until Ctrl-C: what is ready, what runs, when it ends."""
        from rushlight.batch.api.serve import serve as run

        def ready(serving: Serving) -> None:
            if as_json:
                say_json(serving.document(), indent=None)
            else:
                _tell(serving)

        try:
            run(folder, port=port, lan=lan, name=name, tls_cert=tls_cert, tls_key=tls_key, on_ready=ready)
        except KeyboardInterrupt:  # its ordinary end
            if is_terminal(sys.stdout):
                say()
        return DONE

    return serve


def _tell(serving: Serving) -> None:
    where = serving.address
    several = f" ({len(serving.folders)} recipes)" if len(serving.folders) > 1 else ""
    say(f"{serving.folder}{several} is served, read-only, at\n\n  {where.url}\n")
    if where.lan:
        if is_terminal(sys.stdout):
            from rushlight.batch.api.serve import qr_code

            say(qr_code(where.url))
        say(
            "Whoever has this address can see the night's stills and play its movies. Give it to nobody else."
        )
        if not where.encrypted:
            say(
                "The connection is NOT ENCRYPTED: everybody on this network can read along, the address too.\n"
                "--tls-cert and --tls-key encrypt it."
            )
    else:
        say("Only this machine reaches it; --lan opens it to a phone on the same network.")
    say("Ctrl-C ends it; the night is not touched by that.")
