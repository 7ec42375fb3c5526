"""Counts in messages: `1 clip`, `2 clips`."""

from __future__ import annotations

__all__ = ["counted"]


def counted(count: int, thing: str) -> str:
    """So many of a thing, whose plural takes an s."""
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"
