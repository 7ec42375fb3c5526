"""A moment as people read it: by the clock of the machine, with its offset, and in UTC."""

from __future__ import annotations

from datetime import UTC, datetime

__all__ = ["shown_time"]


def shown_time(text: str) -> str:
    """`2026-11-26 05:10 +01:00 (04:10 UTC)` of a moment in ISO 8601, by the clock of this machine; only UTC where that is its
    clock. The text itself where it is no moment."""
    try:
        local = datetime.fromisoformat(text).astimezone()
        utc = local.astimezone(UTC)
    except (ValueError, OverflowError):
        return text
    if not local.utcoffset():
        return f"{utc:%Y-%m-%d %H:%M} UTC"
    day = "%H:%M" if local.date() == utc.date() else "%Y-%m-%d %H:%M"
    return f"{local:%Y-%m-%d %H:%M} {local.isoformat()[-6:]} ({utc:{day}} UTC)"
