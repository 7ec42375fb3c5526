"""The page of a night while it runs, made of its state: `now.html`, one file that opens anywhere, and its parts for who serves it."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import cast
from urllib.parse import quote

from rushlight.batch.records.night_state import ClipReady, NightPhase, NightState
from rushlight.batch.report.page_templates import environment, render_page
from rushlight.pipelines.counted import counted

__all__ = [
    "BYTES", "REFRESH", "SILENCE", "START", "anchor", "clip_part", "href", "now_page", "start_page", "top_part",
]  # fmt: skip

REFRESH = 15  # seconds after which a page on the disk is loaded again
SILENCE = 30  # seconds that a run lets pass at most without writing its page
START = "start.html"  # of a day with several recipes, beside their folders
BYTES = 1_900_000  # of a page with its pictures

_PHASES: dict[NightPhase, tuple[str, str]] = {
    "planning": ("Reading the list", ""),
    "preparing this machine": ("Preparing this machine", ""),
    "rendering": ("Rendering", ""),
    "checking": ("Checking what was made", ""),
    "pages": ("Making the pages", ""),
    "paused": ("Paused", "bad"),
    "waiting": ("Nothing to do for now", ""),
    "stopping": ("Stopping", "odd"),
    "over": ("The night is over", "good"),
    "stopped": ("Stopped with work left", "odd"),
    "broken off": ("Broken off by an error", "bad"),
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class _Said:
    """Words of the page's upper part."""

    phase: str
    tone: str
    ends: str
    ready_by: str
    over: str
    quiet: str  # why nothing seems to run any more
    report: bool  # the report's page is beside it


@dataclass(frozen=True, kw_only=True)
class _Movie:
    href: str
    words: str
    plays: bool


@dataclass(frozen=True, kw_only=True)
class _Clip:
    """Words and addresses of one clip on the page."""

    anchor: str
    picture: str  # address of its small picture, a data: URI where it stands in the page
    still: str
    play: str  # address of its smallest movie that browsers play; empty without one
    finished: str
    movies: Sequence[_Movie]


def now_page(
    state: NightState,
    *,
    picture: Callable[[str], str],
    live: str = "",
    report: bool = False,
    quiet: str = "",
) -> str:
    """The page. `picture` gives of a small picture's path its address, or its own address where it is to stand in the page
    (`data:…`, as long as there is room for it in `BYTES`). `live` is the state's number where a server tells what follows;
    `report`: the report's page is beside it."""
    clips, room = [], BYTES - 900 * len(state.ready) - 100_000
    for clip in state.ready:
        address = picture(clip.thumb) if clip.thumb else ""
        room -= len(address)
        clips.append((clip, _about(clip, address if room > 0 or not address.startswith("data:") else "")))
    return render_page(
        "now.html",
        title=state.title,
        state=state,
        said=_said(state, quiet, report),
        clips=clips,
        live=live,
        refresh=0 if state.is_over else REFRESH,
        foot=_foot(state, live=bool(live)),
    )


def start_page(nights: Sequence[tuple[str, NightState, str]]) -> str:
    """The page that leads to several nights: the name of each one's folder, its state, and why nothing seems to run any more."""
    title = next((state.title for _, state, _ in nights if state.counts.listed), nights[0][1].title)
    listed = [
        (name, f"{quote(os.fsencode(name))}/report/now.html", state, _said(state, quiet, report=False))
        for name, state, quiet in nights
    ]
    return render_page(START, title=title, nights=listed, refresh=REFRESH)


def top_part(state: NightState, *, quiet: str = "", report: bool = False) -> str:
    """The upper part alone: what runs, when it ends, the counts, what needs somebody, what waits."""
    return _part("top", state, _said(state, quiet, report))


def clip_part(clip: ClipReady, picture: str) -> str:
    """One clip alone; `picture` is its small picture's address."""
    return _part("clip", clip, _about(clip, picture))


def _part(name: str, *values: object) -> str:
    macro = cast("Callable[..., str]", getattr(environment().get_template("now_parts.jinja").module, name))
    return str(macro(*values))


def href(path: str) -> str:
    """Address of a file of the output folder, from the page; every byte of its name as it is."""
    return "../" + quote(os.fsencode(path))


def anchor(job: str) -> str:
    """Anchor of a clip on the page."""
    return "clip-" + re.sub(r"[^A-Za-z0-9_-]", "-", job)


def _said(state: NightState, quiet: str, report: bool) -> _Said:
    phase, tone = _PHASES[state.phase]
    return _Said(
        phase=phase,
        tone=tone,
        ends=_clock(state.ends, state.written),
        ready_by=_clock(state.ready_by, state.written),
        over=_over(state),
        quiet=quiet,
        report=report,
    )


def _over(state: NightState) -> str:
    """The last words, with the numbers of the report's page."""
    if not state.is_over:
        return ""
    n = state.counts
    left = n.waiting + n.held + n.waits_for_grade + n.arriving
    return (
        f"{counted(n.listed, 'clip')} listed = {n.delivered} delivered + {n.set_aside} set aside + {n.failed} failed + "
        f"{left} not made yet"
    )


def _foot(state: NightState, *, live: bool) -> str:
    when = _clock(state.written, "", seconds=True)
    if state.is_over:
        return f"Written at {when}. Nothing runs any more; this page changes with the next run."
    if live:
        return (
            "This page follows the night by itself. If it says nothing new for minutes, look at the machine."
        )
    return (
        f"Written at {when}. While the night runs this is written anew every {SILENCE} seconds or sooner. If your clock shows much"
        " later and the page does not change, this is an old copy, or nothing runs any more: look at the machine."
    )


def _about(clip: ClipReady, picture: str) -> _Clip:
    movies = [
        _Movie(
            href=href(movie.path),
            words=f"{movie.output}, {_size(movie.bytes)}",
            plays=movie.plays,
        )
        for movie in clip.movies
    ]
    return _Clip(
        anchor=anchor(clip.job),
        picture=picture,
        still=href(clip.still) if clip.still else "",
        play=next((movie.href for movie in movies if movie.plays), ""),
        finished=_clock(clip.finished, ""),
        movies=movies,
    )


def _size(count: int) -> str:
    return f"{count / 1e9:.1f} GB" if count >= 1e9 else f"{max(count, 1e5) / 1e6:.1f} MB"


def _clock(text: str, beside: str, *, seconds: bool = False) -> str:
    """`03:12 CET`; with the day where it is not that of the moment `beside`. Empty where it is no moment."""
    try:
        moment = datetime.fromisoformat(text).astimezone()
        same = not beside or datetime.fromisoformat(beside).astimezone().date() == moment.date()
    except (ValueError, OverflowError):
        return ""
    return moment.strftime(f"%H:%M{':%S' if seconds else ''} %Z" + ("" if same else " on %d %B"))
