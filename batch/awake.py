"""A machine kept awake while a night runs: the system's own tool is asked, where there is one, and lets go with this process.

systemd-inhibit (systemd 183 and newer) and macOS's caffeinate hold the machine awake while a program of theirs runs. It is `cat`,
which echoes one byte once it runs and ends with the pipe to it, however this process ends. Nothing needs it: without the tool, or
where it may not do so, the night runs as before.
"""

from __future__ import annotations

import shutil
import subprocess
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

__all__ = ["kept_awake"]

_TOOLS = {
    "systemd-inhibit": ("--what=sleep:idle", "--who=rushlight", "--why=a night is rendering", "--mode=block"),
    "caffeinate": ("-i", "-s"),  # not for idling; nor on mains at all
}


@contextmanager
def kept_awake(tell: Callable[[str], object]) -> Iterator[None]:
    """The machine stays awake in here, as far as its system does that; `tell` hears once that it does, on a thread of its own."""
    holder = _holder()
    if holder is None:
        yield
        return
    process, name = holder
    listening = threading.Thread(target=_told, args=(process, name, tell), name="awake", daemon=True)
    listening.start()
    try:
        yield
    finally:
        with suppress(OSError):
            process.stdin.close()  # type: ignore[union-attr]
        with suppress(subprocess.TimeoutExpired):
            process.wait(timeout=1)
        if process.poll() is None:  # the tool hangs: nothing of ours waits for it
            process.kill()
            process.wait()
        listening.join()
        process.stdout.close()  # type: ignore[union-attr]


def _holder() -> tuple[subprocess.Popen[bytes], str] | None:
    """The tool at work, and its name; None where there is none."""
    for name, options in _TOOLS.items():
        if tool := shutil.which(name):
            with suppress(OSError):
                process = subprocess.Popen(
                    [tool, *options, "cat"],
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    stderr=subprocess.DEVNULL,
                    bufsize=0,
                    start_new_session=True,  # it asks nobody for a password, and hears no Ctrl-C
                )
                with suppress(OSError):
                    process.stdin.write(b".")  # type: ignore[union-attr]
                return process, name
    return None


def _told(process: subprocess.Popen[bytes], name: str, tell: Callable[[str], object]) -> None:
    if process.stdout and process.stdout.read(1):
        tell(f"this machine is kept awake until the night ends ({name})")
