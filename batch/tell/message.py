"""A message as it is sent: its title, its text for a phone, and the same as JSON for a webhook."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.records.night_state import NightCounts, NightState
from rushlight.batch.records.summary import TOLD, ToldChange, ToldData, ToldFolder, ToldMessage, ToldNeed
from rushlight.batch.tell.changes import Change
from rushlight.pipelines.counted import counted
from rushlight.pipelines.inside_folder import is_file
from rushlight.pipelines.visible_text import visible

__all__ = ["Message", "night_message", "trial_message"]

MOST = 20  # clips that are named in a text
MOST_JSON = 50
LONGEST = 400  # characters of a reason
PARTS = (
    ("delivered", "ready"),
    ("running", "being made"),
    ("waiting", "waiting"),
    ("held", "held back"),
    ("arriving", "arriving"),
    ("waits_for_grade", "waiting for a grade"),
    ("set_aside", "set aside"),
    ("failed", "failed"),
)


@dataclass(frozen=True, kw_only=True)
class Message:
    """What is sent: a title of one line, a text of several, and the document for scripts."""

    title: str
    text: str
    document: ToldMessage


def night_message(
    *,
    title: str,
    host: str,
    time: str,
    changes: Sequence[Change],
    states: Mapping[Path, NightState],
    page: str = "",
) -> Message:
    """A message on what has changed in a night. `states`: its output folders as they are now; `time`: ISO 8601; `page`: where
    readers find the page, as the document has it."""
    ready = sum(state.counts.delivered for state in states.values())
    listed = sum(state.counts.listed for state in states.values())
    so_far = f", {ready} of {listed} ready" if states else ""
    lines = [_line(title), f"on {_line(host)}, {time[:10]} {time[11:16]}", ""]
    lines += [_line(change.text) for change in changes]
    over = any(change.last for change in changes)
    needs = dict.fromkeys((n.what, n.name, n.text) for state in states.values() for n in state.needs)
    new = {need for change in changes for need in change.needs}
    named = [need for need in needs if over or need in new]
    if named:
        lines += ["", "Needs a person:"]
        lines += [f"- {_needed(*need)}" for need in named[:MOST]]
        if len(named) > MOST:
            lines.append(f"- and {len(named) - MOST} more, on the page")
    for out, state in states.items():
        lines += ["", *_folder(out, state, named=len(states) > 1, over=over)]
    if page:
        lines += ["", f"Page: {_line(page)}"]
    kind = changes[0].kind if changes else "done"
    data = ToldData(
        title=visible(title),
        host=visible(host),
        changes=[ToldChange(kind=change.kind, text=visible(change.text)) for change in changes],
        folders=[_told_folder(out, state) for out, state in states.items()],
        text="\n".join(lines) + "\n",
    )
    document = ToldMessage(schema=TOLD, type=f"night.{kind.replace(' ', '_')}", timestamp=time, data=data)
    short = changes[0].short if changes else ""
    return Message(title=_line(f"{title}: {short}{so_far}"), text=data.text, document=document)


def trial_message(*, title: str, host: str, time: str, page: str = "") -> Message:
    """A message that says no more than that it arrives."""
    text = "This is a test of rushlight: nothing has happened. What is told of this day comes here."
    lines = [_line(title), f"on {_line(host)}, {time[:10]} {time[11:16]}", "", text]
    lines += ["", f"Page: {_line(page)}"] if page else []
    data = ToldData(title=visible(title), host=visible(host), text="\n".join(lines) + "\n")
    document = ToldMessage(schema=TOLD, type="test", timestamp=time, data=data)
    return Message(title=_line(f"{title}: test"), text=data.text, document=document)


def counts_text(counts: NightCounts) -> str:
    """`15 listed = 13 ready + 2 failed`: the counts that add up."""
    parts = [f"{count} {word}" for name, word in PARTS if (count := getattr(counts, name))]
    return f"{counted(counts.listed, 'clip')} listed = {' + '.join(parts) or '0'}"


def _folder(out: Path, state: NightState, *, named: bool, over: bool) -> list[str]:
    lines = [f"{_line(out.name)}:"] if named else []
    lines.append(counts_text(state.counts))
    if state.counts.ungraded:
        lines.append(f"{state.counts.ungraded} of those ready without a grade")
    if state.ends and not over:
        lines.append(f"All of it by {state.ends[11:16]}, by the speed so far")
    if state.ready:
        clips = [_line(clip.clip) for clip in state.ready[:MOST]]
        more = f" and {len(state.ready) - MOST} more" if len(state.ready) > MOST else ""
        lines.append(f"Ready, the newest first: {', '.join(clips)}{more}")
    lines.append(f"Page: {_line(str(out / _page(out, state)))}")
    return lines


def _page(out: Path, state: NightState) -> str:
    report = "report/index.html"
    return report if state.is_over and is_file(out, report) else "report/now.html"


def _told_folder(out: Path, state: NightState) -> ToldFolder:
    return ToldFolder(
        out=visible(str(out)),
        page=visible(str(out / _page(out, state))),
        phase=state.phase,
        counts=state.counts,
        ends=state.ends,
        ready=[visible(clip.clip) for clip in state.ready[:MOST_JSON]],
        needs=[
            ToldNeed(what=need.what, name=visible(need.name), text=visible(need.text)[:LONGEST])
            for need in state.needs[:MOST_JSON]
        ],
    )


def _needed(what: str, name: str, text: str) -> str:
    said = _line(text)
    said = said if len(said) <= LONGEST else f"{said[:LONGEST]} …"
    return f"{_line(name)}, {what}: {said}" if name else f"{what}: {said}"


def _line(text: str) -> str:
    """A text of outside in one line, with what is hidden in it written out."""
    return visible(text)
