"""Findings on a machine: each says what was looked at, what was found, and whether it stands in the way of a night."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Literal

__all__ = ["Finding", "Weight"]

Weight = Literal["well", "note", "in the way"]


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One of them. `advice` says what would do, where it is not well; `facts` are the numbers in it, for scripts."""

    about: str
    found: str
    weight: Weight = "well"
    advice: str = ""
    facts: Mapping[str, object] = field(default_factory=dict)

    def document(self) -> dict[str, object]:
        return asdict(self)
