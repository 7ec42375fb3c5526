"""A night of the API: its options, its cancel, its events, and the clips that were not made."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TypedDict

from rushlight.batch.api.cancel import Cancel
from rushlight.batch.api.requests import texts_of
from rushlight.batch.awake import kept_awake
from rushlight.batch.day.shooting_day import ShootingDay
from rushlight.batch.disks import made_with, parse_mode, parse_size
from rushlight.batch.exit_codes import STOPPED
from rushlight.batch.farm.worker_options import Crew, crew_of
from rushlight.batch.live.night_pages import NightPages
from rushlight.batch.own_process import is_own
from rushlight.batch.records.events import EventDocument
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.events import Terms
from rushlight.batch.run.forecast import moment_text, next_time
from rushlight.batch.run.hooks import parse_hooks, ringing
from rushlight.batch.tell.telling import Telling

__all__ = [
    "NightOptions",
    "NotMade",
    "OnEvent",
    "crew_for",
    "events_for",
    "held_to",
    "take_from",
    "terms_for",
]

Place = str | Path
OnEvent = Callable[[EventDocument], object]


class NightOptions(TypedDict, total=False):
    """Workers and terms of a night, as `rushlight render --help` has them. `on_finish`, `on_failure` and
    `on_late` are commands. `mode` changes the umask of the whole process while the night runs."""

    workers: int | None
    scheduler: str
    tls_ca_file: Place | None
    tls_cert: Place | None
    tls_key: Place | None
    map: str | Sequence[str]
    stalled_after: float
    graphics: str | None
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


def take_from(day: ShootingDay, options: NightOptions) -> None:
    """What a day document says of its nights, where the options do not."""
    options["ready_by"] = options.get("ready_by") or day.document.ready_by
    if options.get("graphics") is None:  # False is neither off nor unstated: it is refused
        options["graphics"] = day.document.graphics


def events_for(on_event: OnEvent | None, cancel: Cancel) -> EventStream:
    """The events of a night, to `on_event`: what that raises stops the night in order."""
    return EventStream(on_event, cancel.stop) if on_event else EventStream(stop=cancel.stop)


def crew_for(options: NightOptions) -> Crew:
    """The workers that these options ask for. OptionError naming the option that is wrong."""
    graphics = options.get("graphics")
    return crew_of(
        workers=options.get("workers"),
        scheduler=options.get("scheduler", ""),
        tls_ca_file=_path(options.get("tls_ca_file")),
        tls_cert=_path(options.get("tls_cert")),
        tls_key=_path(options.get("tls_key")),
        mounts=texts_of(options.get("map")),
        stalled_after=options.get("stalled_after", 10.0),
        graphics="auto" if graphics is None else graphics,
    )


def _path(given: Place | None) -> Path | None:
    return Path(given) if given else None


def terms_for(options: NightOptions, events: EventStream, cancel: Cancel) -> Terms:
    """The terms of a night, with a clock time said in full. OptionError naming the option that is wrong."""
    ready_by = None
    if clock := options.get("ready_by"):
        ready_by = next_time(clock, datetime.now(UTC)).timestamp()
        events.note(f"to be ready by {moment_text(ready_by)}")
    mode = options.get("mode")
    return Terms(
        keep_free=parse_size(options.get("keep_free", "500MB")),
        mode=parse_mode(mode) if mode else None,
        ready_by=ready_by,
        stop=cancel.stop,
    )


def held_to(
    terms: Terms,
    options: NightOptions,
    events: EventStream,
    night: Callable[[], int],
    *,
    day: ShootingDay | None = None,
) -> int:
    """Run the night with its permissions, its live pages, its commands and the people that its days name; `day` is the one that is
    run. Gives its exit code; raises what the listener raised."""
    hooks = parse_hooks(options.get("on_finish"), options.get("on_failure"), options.get("on_late"))
    telling = Telling(events.warning, day)
    pages = NightPages(telling.state)
    events.followers += [telling, pages]

    def shown() -> int:
        try:
            with pages:
                code = night()
        except BaseException as error:
            telling.ended(str(error) or type(error).__name__, stopped=isinstance(error, KeyboardInterrupt))
            raise
        telling.ended("", stopped=code == STOPPED)
        return code

    awake = kept_awake(events.note) if is_own() else nullcontext()  # else the caller's to decide
    with awake, made_with(terms.mode), telling:  # the commands are not kept waiting by a mail server
        code = ringing(hooks, events, shown)
    if events.raised is not None:
        raise events.raised
    return code
