"""A page in Chromium while it lives, over the DevTools protocol's pipe: evaluated, clicked, looked at, and what its console said."""

from __future__ import annotations

import base64
import json
import os
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from browsers import FLAGS


class LivePage:
    """One page. Calls wait for their answer; what the browser says in between is kept."""

    def __init__(self, reads: int, writes: int) -> None:
        self._reads, self._writes, self._serial, self._rest = reads, writes, 0, b""
        self._session = ""
        self.complaints: list[str] = []  # of the console: errors, and what a policy stopped
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log"):
            self.call(f"{domain}.enable")

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        self._serial += 1
        message = {"id": self._serial, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._writes, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == self._serial:
                assert "error" not in answer, answer
                return answer["result"]

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._rest:
            piece = os.read(self._reads, 1 << 20)
            assert piece, "the browser has ended"
            self._rest += piece
        text, _, self._rest = self._rest.partition(b"\0")
        answer = json.loads(text)
        if answer.get("method") == "Log.entryAdded":
            entry = answer["params"]["entry"]
            if not entry.get("url", "").endswith("/favicon.ico"):  # which browsers ask for by themselves
                self.complaints.append(f"{entry['text']} {entry.get('url', '')}")
        elif answer.get("method") == "Runtime.exceptionThrown":
            self.complaints.append(json.dumps(answer["params"]))
        return answer

    def open(self, address: str, *, width: int, height: int = 1200, dark: bool = False) -> None:
        """Go to a page as a screen of that size shows it."""
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=width < 600,
        )
        feature = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.call("Emulation.setEmulatedMedia", features=[feature])
        self.call("Page.navigate", url=address)
        self.until("document.readyState === 'complete' && location.href !== 'about:blank'")

    def value(self, expression: str) -> Any:
        """What an expression is on the page."""
        return self.call("Runtime.evaluate", expression=expression, returnByValue=True, userGesture=True)[
            "result"
        ].get("value")

    def until(self, expression: str, seconds: float = 60.0) -> None:
        """Wait until it is true."""
        end = time.monotonic() + seconds
        while not self.value(expression):
            assert time.monotonic() < end, expression
            time.sleep(0.05)

    def picture(self, path: Path) -> None:
        """A PNG of what is seen."""
        path.write_bytes(base64.b64decode(self.call("Page.captureScreenshot", format="png")["data"]))


@contextmanager
def live_page(profile: Path) -> Iterator[LivePage]:
    """A page in a browser of its own, where there is one."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if not program:
        pytest.skip("no chromium on this machine (Debian's package `chromium`)")
    (theirs_in, ours_out), (ours_in, theirs_out) = os.pipe(), os.pipe()

    def pipes() -> None:
        """The protocol's are 3 and 4."""
        spare = [os.dup(theirs_in), os.dup(theirs_out)]
        os.dup2(spare[0], 3)
        os.dup2(spare[1], 4)

    flags = [flag for flag in FLAGS if not flag.startswith(("--enable-logging", "--v="))]
    call = [program, *flags, "--remote-debugging-pipe", f"--user-data-dir={profile}", "about:blank"]
    browser = subprocess.Popen(
        call, preexec_fn=pipes, close_fds=False, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )  # fmt: skip
    os.close(theirs_in)
    os.close(theirs_out)
    try:
        yield LivePage(ours_in, ours_out)
    finally:
        os.close(ours_out)
        os.close(ours_in)
        try:
            browser.wait(20)
        except subprocess.TimeoutExpired:
            browser.kill()
            browser.wait()
