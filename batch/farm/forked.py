"""What the fork server loads last (child_processes.py): its forks die with it, and have the machine code of most pictures.

Who minds a process whose fork server died takes it for dead, and it would go on unminded: so Linux ends it. What is loaded by
now is no garbage, and collecting it would only copy its memory to each fork.
"""

from __future__ import annotations

import ctypes
import gc
import os
import signal
from contextlib import suppress

from rushlight.pipelines.render.compiled import missing_kinds

PR_SET_PDEATHSIG = 1  # linux/prctl.h
_libc = ctypes.CDLL(None)
_server = os.getpid()


def _ends_with_the_server() -> None:
    _libc.prctl(PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)
    if os.getppid() != _server:  # it died just before
        os._exit(1)


with suppress(Exception):  # told by whoever needs it
    # Loads it, and all that numba needs for any; compiles nothing.
    missing_kinds([("yuv444p10le", "yuv420p", True)])
gc.collect()
gc.freeze()
os.register_at_fork(after_in_child=_ends_with_the_server)
