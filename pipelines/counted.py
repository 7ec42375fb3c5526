"""Counts in messages: `1 clip`, `2 clips`; the first names of many."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["counted", "shortened"]


def counted(count: int, thing: str) -> str:
    """So many of a thing, whose plural takes an s."""
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def shortened(names: Sequence[str], most: int = 4) -> str:
    """The first of some names, and how many more there are."""
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more
