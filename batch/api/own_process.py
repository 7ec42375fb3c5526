"""What a command knows of its process and a program that calls the API does not: nobody shares it."""

from __future__ import annotations

from rushlight.batch.farm.child_processes import own_process, put_away

__all__ = ["own_process", "put_away"]
