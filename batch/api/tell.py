"""`rushlight day tell`: who is told of a day, and a message that tries it."""

from __future__ import annotations

import platform
import time
from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.day.shooting_day import load_day
from rushlight.batch.exit_codes import DONE, PARTLY
from rushlight.batch.job_log import clock_text
from rushlight.batch.tell.channels import channels_of
from rushlight.batch.tell.message import trial_message
from rushlight.batch.tell.sending import Answer, deliver
from rushlight.batch.tell.telling import day_title
from rushlight.pipelines.errors import OptionError

__all__ = ["Answer", "Told", "tell"]


@dataclass(frozen=True, kw_only=True)
class Told:
    """Who is told of a day: a sentence each, what is told, and of a test the answer of each server."""

    day: Path
    title: str
    channels: tuple[str, ...]
    changes: tuple[str, ...]
    every: int  # minutes between two messages at least
    answers: tuple[Answer, ...] = ()

    @property
    def code(self) -> int:
        """The command's exit code: 1 where a server did not take the message."""
        return DONE if all(answer.taken for answer in self.answers) else PARTLY

    def document(self) -> dict[str, object]:
        """The document that the command prints with `--json`."""
        return {
            "schema": "rushlight-day-tell-1",
            "day": str(self.day),
            "title": self.title,
            "channels": list(self.channels),
            "changes": list(self.changes),
            "every": self.every,
            "answers": [dict(vars(answer)) for answer in self.answers],
        }


def tell(day: str | Path, *, test: bool = False) -> Told:
    """Who is told of a day; with `test` a message is sent to each of them, which takes up to a minute where a server does not answer.

    RecipeError where the document is wrong; OptionError where nobody is named, or where a secret is missing or readable by others.
    """
    found = load_day(Path(day))
    said, channels = found.document.tell, channels_of(found)
    if not channels:
        text = "names nobody to be told; it takes `mail` with `server` and `sender`, or `webhook`, in a table [tell]"
        raise OptionError(text, file=str(found.path), key="tell")
    answers = []
    if test:
        now, host = clock_text(time.time()), platform.node() or "this machine"
        message = trial_message(title=day_title(found), host=host, time=now, page=said.page)
        answers = [deliver(channel, message) for channel in channels]
    return Told(
        day=found.path.resolve(),
        title=day_title(found),
        channels=tuple(channel.described() for channel in channels),
        changes=said.changes,
        every=said.every,
        answers=tuple(answers),
    )
