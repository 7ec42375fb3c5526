"""The output folders that one server shows: one at its root, or several each below its name, with a page that lists them."""

from __future__ import annotations

import threading
from collections.abc import Sequence

from rushlight.batch.live.now_page import START, start_page
from rushlight.batch.serve.night_hub import NightHub

__all__ = ["Nights"]


class Nights:
    """The hubs of output folders, whose names differ. For several threads."""

    def __init__(self, hubs: Sequence[NightHub]) -> None:
        self.hubs = hubs
        self.open = True

    def keep_looking(self) -> None:
        """Look at each again and again, on a thread of its own."""
        for hub in self.hubs:
            threading.Thread(target=hub.keep_looking, name="state", daemon=True).start()

    def close(self) -> None:
        """Let everybody go who waits."""
        self.open = False
        for hub in self.hubs:
            hub.close()

    def start(self, parts: Sequence[str]) -> bool:
        """True where a path names the page that lists them."""
        return len(self.hubs) > 1 and "/".join(parts) in ("", START)

    def find(self, parts: Sequence[str]) -> tuple[NightHub | None, Sequence[str]]:
        """The hub that a path leads to, and the path from there; None where it leads to none."""
        if len(self.hubs) == 1:
            return self.hubs[0], parts
        hubs = {hub.out.name: hub for hub in self.hubs}
        return hubs.get(parts[0] if parts else ""), parts[1:]

    def page(self) -> bytes:
        """The page that lists them, as they are now."""
        return start_page([(hub.out.name, hub.state, hub.quiet) for hub in self.hubs]).encode(
            "utf-8", "replace"
        )
