"""Signals: what a person sees of a command that is stopped at once."""

import subprocess
import sys

STOPPED_AT_ONCE = """
import multiprocessing, os
from rushlight.batch.interrupts import deaf

def start():
    return [multiprocessing.Semaphore(), multiprocessing.get_context("spawn").Semaphore()]

if __name__ == "__main__":
    kept = deaf(start, lambda found: None)
    os._exit(3)
"""


def test_stopped_at_once_says_nothing_of_semaphores() -> None:
    """Those that its workers' queues have are removed by a process of Python's own, which would warn of each."""
    ended = subprocess.run(
        [sys.executable, "-c", STOPPED_AT_ONCE], capture_output=True, text=True, timeout=60
    )
    assert (ended.returncode, ended.stderr) == (3, "")
