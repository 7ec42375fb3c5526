"""A night of the API: its options, its cancel, its events, and the clips that were not made."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypedDict

from rushlight.batch.api.cancel import Cancel
from rushlight.batch.disks import made_with, parse_mode, parse_size
from rushlight.batch.farm.worker_options import Crew, crew_of
from rushlight.batch.records.events import EventDocument
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.events import Terms
from rushlight.batch.run.forecast import moment_text, next_time
from rushlight.batch.run.hooks import parse_hooks, ringing

__all__ = [
    "NightOptions",
    "NotMade",
    "OnEvent",
    "crew_for",
    "events_for",
    "held_to",
    "not_made",
    "terms_for",
]

Place = str | Path
OnEvent = Callable[[EventDocument], object]
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


@dataclass(frozen=True, kw_only=True)
class NotMade:
    """A clip that was not delivered, and why."""

    clip: str
    error: str


def not_made(rows: list[Mapping[str, str]]) -> tuple[NotMade, ...]:
    """The clips of a summary that were not made."""
    return tuple(NotMade(clip=row["clip"], error=row["error"]) for row in rows)


def events_for(on_event: OnEvent | None, cancel: Cancel) -> EventStream:
    """The events of a night, to `on_event`: what that raises stops the night in order."""
    return EventStream(on_event, cancel.stop) if on_event else EventStream(stop=cancel.stop)


def crew_for(options: Mapping[str, Any]) -> Crew:
    """The workers that these options ask for. OptionError naming the option that is wrong."""
    said = _filled(options)
    files = {
        name: Path(said[name]) if said[name] else None for name in ("tls_ca_file", "tls_cert", "tls_key")
    }
    mounts = (said["map"],) if isinstance(said["map"], str) else tuple(said["map"])
    return crew_of({**said, **files, "mounts": mounts})


def terms_for(options: Mapping[str, Any], events: EventStream, cancel: Cancel) -> Terms:
    """The terms of a night, with a clock time said in full. OptionError naming the option that is wrong."""
    said = _filled(options)
    ready_by = None
    if said["ready_by"]:
        ready_by = next_time(said["ready_by"], datetime.now(UTC)).timestamp()
        events.note(f"to be ready by {moment_text(ready_by)}")
    return Terms(
        keep_free=parse_size(said["keep_free"]),
        mode=parse_mode(said["mode"]) if said["mode"] else None,
        ready_by=ready_by,
        stop=cancel.stop,
    )


def held_to(terms: Terms, options: Mapping[str, Any], events: EventStream, night: Callable[[], int]) -> int:
    """Run the night with its permissions and its commands. Gives its exit code; raises what the listener raised."""
    said = _filled(options)
    hooks = parse_hooks(said["on_finish"], said["on_failure"], said["on_late"])
    with made_with(terms.mode):
        code = ringing(hooks, events, night)
    if events.raised is not None:
        raise events.raised
    return code


def _filled(options: Mapping[str, Any]) -> dict[str, Any]:
    """With the defaults of the command line. TypeError for an option that there is not."""
    if odd := sorted(set(options) - set(DEFAULTS)):
        raise TypeError(f"there is no option {', '.join(odd)}; there are {', '.join(DEFAULTS)}")
    return {**DEFAULTS, **options}
