"""A night of the API: its options, its cancel, its events, and the clips that were not made."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypedDict

from rushlight.batch.disks import made_with, parse_mode, parse_size
from rushlight.batch.farm.worker_options import crew_of
from rushlight.batch.interrupts import Stop
from rushlight.batch.run.events import Terms
from rushlight.batch.run.forecast import moment_text, next_time
from rushlight.batch.run.hooks import parse_hooks, ringing
from rushlight.batch.run.progress import JsonView, View
from rushlight.batch.terminal_or_log import Words

__all__ = ["Cancel", "NightOptions", "NotMade", "Told", "crew_for", "held_to", "not_made", "terms_for"]

Place = str | Path
DEFAULTS: Mapping[str, Any] = {
    "workers": None,
    "scheduler": "",
    "tls_ca_file": None,
    "tls_cert": None,
    "tls_key": None,
    "map": (),
    "stalled_after": 10.0,
    "ready_by": "",
    "mode": None,
    "keep_free": "500MB",
    "on_finish": None,
    "on_failure": None,
    "on_late": None,
}


class NightOptions(TypedDict, total=False):
    """Workers and terms of a night, as `rushlight render --help` has them. `on_finish`, `on_failure` and
    `on_late` are commands. `mode` changes the umask of the whole process while the night runs."""

    workers: int | None
    scheduler: str
    tls_ca_file: Place | None
    tls_cert: Place | None
    tls_key: Place | None
    map: tuple[str, ...]
    stalled_after: float
    ready_by: str
    mode: str | None
    keep_free: str
    on_finish: str | None
    on_failure: str | None
    on_late: str | None


class Cancel:
    """Stops a night from any thread, as the first Ctrl-C does: nothing more is started, and what is in hand has 8 seconds.

    A list that is being read is read to its end first. The same call goes on where this one ended.
    """

    def __init__(self) -> None:
        self.stop = Stop()

    def cancel(self) -> None:
        """Ask for it. Once is enough, and more do nothing."""
        if not self.stop.level:
            self.stop.ask()


@dataclass(frozen=True, kw_only=True)
class NotMade:
    """A clip that was not delivered, and why."""

    clip: str
    error: str


def not_made(rows: list[Mapping[str, str]]) -> tuple[NotMade, ...]:
    """The clips of a summary that were not made."""
    return tuple(NotMade(clip=row["clip"], error=row["error"]) for row in rows)


class _Unsaid(Words):
    """Words that go nowhere: not to the outputs, and not to `log/run.txt`, which says what a lost terminal would have."""

    def put(self, text: str, *, error: bool = False) -> None: ...

    def note(self, text: str) -> None: ...


@dataclass
class Ending:
    """End of a night: its summaries, why it was refused, its problems, and what the caller's function raised."""

    summaries: list[dict[str, Any]] = field(default_factory=list)  # one a list
    refusal: str = ""
    problems: list[str] = field(default_factory=list)
    raised: BaseException | None = None


class Told(JsonView):
    """The view of a caller: every event that `--json` prints goes to `on_event`, and nothing is printed. What that raises
    stops the night in order, and is raised at its end."""

    def __init__(self, on_event: Callable[[dict[str, Any]], None] | None, stop: Stop) -> None:
        super().__init__()
        self.words = _Unsaid()
        self.ending = Ending()
        self._on_event, self._stop = on_event, stop

    def tell(self, document: dict[str, Any]) -> None:
        ending = self.ending
        if document["event"] == "summary":
            ending.summaries.append(document)
        elif document["event"] == "refused":
            ending.refusal = document["text"]
        elif document["event"] == "problem":
            ending.problems.append(document["text"])
        if self._on_event is None or ending.raised is not None:
            return
        try:
            self._on_event(document)
        except BaseException as error:
            ending.raised = error
            if not self._stop.level:
                self._stop.ask()


def crew_for(options: Mapping[str, Any]) -> Any:
    """The workers that these options ask for. OptionError naming the option that is wrong."""
    said = _filled(options)
    files = {
        name: Path(said[name]) if said[name] else None for name in ("tls_ca_file", "tls_cert", "tls_key")
    }
    mounts = (said["map"],) if isinstance(said["map"], str) else tuple(said["map"])
    return crew_of({**said, **files, "mounts": mounts})


def terms_for(options: Mapping[str, Any], view: View, cancel: Cancel | None) -> Terms:
    """The terms of a night, with a clock time said in full. OptionError naming the option that is wrong."""
    said = _filled(options)
    ready_by = None
    if said["ready_by"]:
        ready_by = next_time(said["ready_by"], datetime.now(UTC)).timestamp()
        view.say(f"to be ready by {moment_text(ready_by)}")
    return Terms(
        keep_free=parse_size(said["keep_free"]),
        mode=parse_mode(said["mode"]) if said["mode"] else None,
        ready_by=ready_by,
        stop=cancel.stop if cancel else Stop(),
    )


def held_to(terms: Terms, options: Mapping[str, Any], view: View, night: Callable[[], int]) -> int:
    """Run the night with its permissions and its commands. Gives its exit code."""
    said = _filled(options)
    hooks = parse_hooks(said["on_finish"], said["on_failure"], said["on_late"])
    with made_with(terms.mode):
        return ringing(hooks, view, night)


def _filled(options: Mapping[str, Any]) -> dict[str, Any]:
    """With the defaults of the command line. TypeError for an option that there is not."""
    if odd := sorted(set(options) - set(DEFAULTS)):
        raise TypeError(f"there is no option {', '.join(odd)}; there are {', '.join(DEFAULTS)}")
    return {**DEFAULTS, **options}
