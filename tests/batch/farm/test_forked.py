"""A fork of a process that has loaded it ends with that process."""

import os
import signal
import subprocess
import sys
import time

import psutil
import pytest

SERVER = """
import os, sys, time
import rushlight.batch.farm.forked
if os.fork() == 0:
    print(os.getpid(), flush=True)
    time.sleep(300)
time.sleep(300)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="Linux alone")
def test_it_ends_with_it() -> None:
    with subprocess.Popen([sys.executable, "-c", SERVER], stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout
        fork = psutil.Process(int(server.stdout.readline()))
        os.kill(server.pid, signal.SIGKILL)
        deadline = time.monotonic() + 60
        while fork.is_running() and fork.status() != psutil.STATUS_ZOMBIE:
            assert time.monotonic() < deadline
            time.sleep(0.02)
