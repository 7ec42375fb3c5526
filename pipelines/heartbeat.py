"""A count that grows while a worker gets on: how one that hangs is told from one that is slow.

Whatever can take long beats once a step: a frame rendered, a packet joined or read back, a block hashed.
"""

from __future__ import annotations

__all__ = ["beat", "beats"]

_count = 0


def beat() -> None:
    """One more step was made in this process."""
    global _count
    _count += 1


def beats() -> int:
    """Steps made since the process started."""
    return _count
