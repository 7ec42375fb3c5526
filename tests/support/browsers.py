"""Pages in real browsers without a window, where there are any; and what of a page its policy stops."""

from __future__ import annotations

import base64
import hashlib
import os
import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from rushlight.pipelines.outputs.stills import read_still

SIZE = (800, 600)
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    "--enable-logging=stderr",
    "--v=0",
]


def chromium(profile: Path, *arguments: str, quiet: bool = True) -> subprocess.CompletedProcess[str]:
    """Run Chromium; `quiet`: its console says nothing, as of what a policy stopped."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if not program:
        pytest.skip("no chromium on this machine (Debian's package `chromium`)")
    call = [program, *FLAGS, f"--user-data-dir={profile}", *arguments]
    run = subprocess.run(call, capture_output=True, text=True, timeout=240)
    assert run.returncode == 0, run.stderr
    assert not quiet or "CONSOLE" not in run.stderr, run.stderr
    return run


def firefox(profile: Path, *arguments: str) -> None:
    """Run Firefox, with a home of its own."""
    program = shutil.which("firefox-esr") or shutil.which("firefox")
    if not program:
        pytest.skip("no firefox on this machine (Debian's package `firefox-esr`)")
    profile.mkdir()
    call = [program, "--headless", "--no-remote", "--profile", str(profile), *arguments]
    env = {**os.environ, "HOME": str(profile)}
    run = subprocess.run(call, capture_output=True, text=True, timeout=240, env=env)
    assert run.returncode == 0, run.stderr


def looks(browser: str, folder: Path, address: str) -> NDArray[np.float64]:
    """What a browser shows of a page, (h, w, 3) of 0..1."""
    picture = folder / f"{browser}.png"
    if browser == "chromium":
        size = f"--window-size={SIZE[0]},{SIZE[1]}"
        wait = "--virtual-time-budget=10000"  # so that a movie has its first frame
        chromium(folder / browser, size, wait, f"--screenshot={picture}", address, quiet=False)
    else:
        size = f"{SIZE[0]},{SIZE[1]}"
        firefox(folder / browser, "--window-size", size, "--screenshot", str(picture), address)
    return np.asarray(read_still(picture), np.float64)[..., :3]


class _Page(HTMLParser):
    """What the policy of a page stops of it, in order."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.policy, self.stopped, self._inside = "", list[str](), ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "meta" and given.get("http-equiv", "").lower() == "content-security-policy":
            assert not self.policy, "two policies"
            self.policy = given["content"]
        elif tag in ("iframe", "frame", "object", "embed", "base", "form", "link") or (
            tag == "script" and "src" in given
        ):
            self.stopped.append(tag)
        else:
            self.stopped += [f"{n} of {tag}" for n, value in given.items() if self._stops(n, value)]
        self._inside = tag if tag in ("style", "script") and "src" not in given else ""

    def _stops(self, name: str, value: str) -> bool:
        away = re.match(r"\s*([a-z][a-z0-9+.-]*:|//)", value, re.IGNORECASE)
        away = away and not (name == "src" and value.startswith("data:image/jpeg;base64,"))
        return name == "style" or name.startswith("on") or (name in ("src", "href", "poster") and bool(away))

    def handle_data(self, data: str) -> None:
        digest = base64.b64encode(hashlib.sha256(data.encode()).digest()).decode()
        if self._inside and f"{self._inside}-src 'sha256-{digest}'" not in self.policy:
            self.stopped.append(self._inside)

    def handle_endtag(self, tag: str) -> None:
        self._inside = ""


def stopped(page: str) -> list[str]:
    """What of a page its own policy stops, or would fetch from afar; the page must have one policy, ahead of all else."""
    reader = _Page()
    reader.feed(page)
    assert reader.policy.startswith("default-src 'none'"), "no policy"
    return reader.stopped
