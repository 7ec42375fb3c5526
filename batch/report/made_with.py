"""Versions that a delivery was made with, and what those of today would make otherwise, in sentences.

What a version *may* change is said, never that it does: whether the colour is the same is known once it is made, by its digests.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from rushlight.batch.records.job_record import ClipRecord
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
    "av": "how movies are decoded, scaled and encoded",
    "libavcodec": "how movies are decoded, scaled and encoded",
    "libavformat": "how movies are decoded, scaled and encoded",
    "libswscale": "how movies are decoded, scaled and encoded",
    "OpenImageIO": "how image sequences are read and stills are written",
    "processor": "the bytes of encoded movies, not their colour",
}
UNKNOWN = "a version of rushlight that did not record its versions"


@dataclass
class Made:
    """Clips that were made, in whole or in part, with the same versions; with none where they are not recorded."""

    versions: Mapping[str, str]
    clips: list[str] = field(default_factory=list)

    def document(self, now: Mapping[str, str]) -> dict[str, object]:
        """In plain values, with what the versions `now` may change."""
        may = differing(self.versions, now) if self.versions else None  # null: it is not known
        return {"clips": len(self.clips), "versions": dict(self.versions), "may_change": may}


def made_by(records: Iterable[ClipRecord]) -> list[Made]:
    """The versions that delivered clips were made with, those of most clips first."""
    found: dict[frozenset[tuple[str, str]], Made] = {}
    for record in records:
        if record.status != "done" or not record.outputs:
            continue
        for versions in [made.versions for made in record.made_with] or [{}]:
            made = found.setdefault(frozenset(versions.items()), Made(versions))
            if record.clip not in made.clips:
                made.clips.append(record.clip)
    return sorted(found.values(), key=lambda made: -len(made.clips))


def versions_text(versions: Mapping[str, str]) -> str:
    """`rushlight 0.2.0, Python 3.11, …`."""
    if not versions:
        return UNKNOWN
    first = ["rushlight"] if "rushlight" in versions else []
    names = [*first, *(name for name in versions if name not in ("rushlight", "processor"))]
    text = ", ".join(f"{NAMES.get(name, name)} {versions[name]}" for name in names)
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
    found = list[str]()
    for each in made:
        clips = counted(len(each.clips), "clip")
        if not each.versions:
            found.append(f"{clips} made with {UNKNOWN}: whether those of today differ is not known")
        elif others := differing(each.versions, now):
            found.append(f"{clips} made with other versions than those of today: {'; '.join(others)}")
        else:
            found.append(f"{clips} made with the versions of today")
    return found


def made_on_page(records: Iterable[ClipRecord]) -> dict[str, list[tuple[int, str]] | list[str]]:
    """What a page says of it: `then`, clips and versions; and `today`, sentences on those of this machine."""
    made = made_by(records)
    then = [(len(each.clips), versions_text(each.versions)) for each in made]
    return {"then": then, "today": now_text(made, made_with())}
