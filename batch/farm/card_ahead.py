"""What the fork server loads where a graphics card may grade (child_processes.py): CuPy, and the machine code that a card is tried
with. Nothing of CUDA is reached for: what a process has of a card survives no fork."""

from __future__ import annotations

from contextlib import suppress

from rushlight.pipelines.card.graphics import load_ahead
from rushlight.pipelines.render.compiled import missing_kinds

with suppress(Exception):  # told by whoever needs it
    if load_ahead():
        missing_kinds([("yuv444p10le", "yuv420p10le", True)])
