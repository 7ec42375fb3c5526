"""Versions that a delivery was made with, who graded it, and what those of today would make otherwise, in sentences.

What a version *may* change is said, never that it does: whether the colour is the same is known once it is made, by its digests.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from rushlight.batch.records.job_record import ClipRecord, MadeWith
from rushlight.pipelines.counted import counted
from rushlight.pipelines.library_versions import made_with

__all__ = ["Made", "differing", "made_by", "made_on_page", "now_text", "versions_text"]

NAMES = {"av": "PyAV", "opencolorio": "OpenColorIO"}
# What another version of each may change. Of those that are not named here it changes no file: they carry tasks.
MAY_CHANGE: Mapping[str, str] = {
    "rushlight": "anything; CHANGELOG.md says what",
    "opencolorio": "looks in their last digits (movies keep those that were baked then)",
    "numpy": "looks in their last digits (movies keep those that were baked then)",
    "numba": "looks in their last digits (movies keep those that were baked then)",
    "colour-science": "looks in their last digits (movies keep those that were baked then)",
    "av": "how FFmpeg decodes, scales and encodes movies",
    "libavcodec": "how FFmpeg decodes, scales and encodes movies",
    "libavformat": "how FFmpeg decodes, scales and encodes movies",
    "libswscale": "how FFmpeg decodes, scales and encodes movies",
    "OpenImageIO": "how image sequences are read and stills are written",
    "processor": "the bytes of encoded movies, not their colour",
}
PROCESSOR = "processor"  # as `graded_by` of a record names it
OLD = "rushlight 0.2.0 or older, which recorded"
UNKNOWN = f"{OLD} no versions"
ASKED = {"rushlight": "rushlight", "opencolorio": "OpenColorIO", "libavcodec": "FFmpeg", "numba": "numba"}
NAMED = 4  # clips that a sentence names


@dataclass
class Made:
    """Clips that were made, in whole or in part, with the same versions, and the names of the outputs that were. Of 0.2.0 they are that of
    OpenColorIO alone, of 0.1.0 none."""

    versions: Mapping[str, str]
    clips: list[str] = field(default_factory=list)
    outputs: list[str] = field(default_factory=list)
    graded: Counter[str] = field(default_factory=Counter)  # frames of movies, by who graded them

    @property
    def recorded(self) -> bool:
        """True if all of its versions are recorded."""
        return "rushlight" in self.versions

    def document(self, now: Mapping[str, str]) -> dict[str, object]:
        """In plain values, with what the versions `now` may change."""
        may = differing(self.versions, now) if self.recorded else None  # null: it is not known
        made = {"clips": len(self.clips), "names": [*self.clips], "outputs": [*self.outputs]}
        return {**made, "versions": dict(self.versions), "may_change": may, "graded_by": dict(self.graded)}

    def text(self) -> str:
        """The versions, and who graded where a graphics card did."""
        text = versions_text(self.versions)
        if self.graded.keys() <= {PROCESSOR}:
            return text
        by = (f"{name} ({counted(frames, 'frame')})" for name, frames in self.graded.most_common())
        return f"{text}; graded by {', '.join(by)}"


def made_by(records: Iterable[ClipRecord]) -> list[Made]:
    """The versions that delivered clips were made with, those of most clips first."""
    found: dict[frozenset[tuple[str, str]], Made] = {}
    for record in records:
        if record.status != "done" or not record.outputs:
            continue
        for part in _parts(record):
            made = found.setdefault(frozenset(part.versions.items()), Made(part.versions))
            made.clips += [record.clip] if record.clip not in made.clips else []
            made.outputs += [name for name in part.outputs if name not in made.outputs]
            for run in part.graded_by:
                made.graded[run.by] += run.frames
    return sorted(found.values(), key=lambda made: -len(made.clips))


def _parts(record: ClipRecord) -> list[MadeWith]:
    """The outputs of a record that were made with the same versions, and those."""
    if record.made_with:
        return record.made_with
    known = record.look.opencolorio if record.look else None
    outputs = list(dict.fromkeys(entry.output for entry in record.outputs))
    return [MadeWith(outputs=outputs, versions={"opencolorio": known.version} if known else {})]


def versions_text(versions: Mapping[str, str]) -> str:
    """`rushlight 0.2.0, Python 3.11, …`."""
    if not versions:
        return UNKNOWN
    names = [name for name in versions if name not in ("rushlight", "processor")]
    text = ", ".join(f"{NAMES.get(name, name)} {versions[name]}" for name in names)
    if "rushlight" not in versions:
        return f"{OLD} {text} and no other version"
    text = ", ".join([f"rushlight {versions['rushlight']}", *([text] if text else [])])
    return f"{text}, on {versions['processor']}" if versions.get("processor") else text


def differing(then: Mapping[str, str], now: Mapping[str, str]) -> list[str]:
    """What differs between two sets of versions and what that may change, a sentence each; those that change no file are left out."""
    found: dict[str, list[str]] = {}
    for name, change in MAY_CHANGE.items():
        was, is_ = then.get(name), now.get(name)
        if was != is_:
            text = f"{NAMES.get(name, name)} {was or 'not recorded'} then and {is_ or 'not there'} now"
            found.setdefault(change, []).append(text)
    return [f"{', '.join(names)} may change {change}" for change, names in found.items()]


def now_text(made: Iterable[Made], now: Mapping[str, str]) -> list[str]:
    """Whether the versions of today are those that a delivery was made with; what differs, and what that may change."""
    found, made = list[str](), list(made)
    for each in made:
        clips = counted(len(each.clips), "clip") + (f" ({_named(each)})" if len(made) > 1 else "")
        if not each.recorded:
            found.append(f"{clips} made with {versions_text(each.versions)}: {_unknown(each, now)}")
        elif others := differing(each.versions, now):
            found.append(f"{clips} made with other versions than those of today: {'; '.join(others)}")
        else:
            found.append(f"{clips} made with the versions of today")
    return found


def _named(made: Made) -> str:
    """Which results they are: clips, the first few of many, and outputs."""
    more = f" and {len(made.clips) - NAMED} more" if len(made.clips) > NAMED else ""
    return f"{', '.join(made.clips[:NAMED])}{more}: {', '.join(made.outputs)}"


def _unknown(made: Made, now: Mapping[str, str]) -> str:
    """What can be said where not all versions are recorded."""
    known = differing({**now, **made.versions}, now)
    known += [] if known else [f"{NAMES.get(name, name)} is that of today" for name in made.versions]
    *names, last = (text for name, text in ASKED.items() if name not in made.versions)
    return "; ".join([*known, f"whether {', '.join(names)} or {last} differ is not known"])


def made_on_page(records: Iterable[ClipRecord]) -> dict[str, list[tuple[int, str]] | list[str]]:
    """What a page says of it: `then`, clips and versions; and `today`, sentences on those of this machine."""
    made = made_by(records)
    then = [(len(each.clips), each.text()) for each in made]
    return {"then": then, "today": now_text(made, made_with())}
