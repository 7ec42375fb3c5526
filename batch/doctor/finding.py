"""Findings on a machine: each says what was looked at, what was found, and whether it stands in the way of a night."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Literal

__all__ = ["Finding", "Weight"]

Weight = Literal["well", "note", "in the way"]


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One of them. `advice` says what would do, where it is not well."""

    about: str
    found: str
    weight: Weight = "well"
    advice: str = ""

    def document(self) -> dict[str, str]:
        return asdict(self)
