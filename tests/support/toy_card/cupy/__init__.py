"""CuPy as processes of a test see it, with the folder above on their path: toy_cupy.py's card.

TOY_CARD_LOG: a file that each process which imports this writes itself, its parent and that one's parent into.
TOY_CARD_FAILS: after so many pictures the card has no more memory. TOY_CARD_TAKEN: a file that does not exist; the process that
makes it has the card, others see none.
"""

import os
import sys
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[2]))
import toy_cupy

if log := os.environ.get("TOY_CARD_LOG"):
    above = Path(f"/proc/{os.getppid()}/stat").read_text().rpartition(")")[2].split()[1]
    with open(log, "a") as stream:
        stream.write(f"{os.getpid()} {os.getppid()} {above}\n")

_left = int(os.environ.get("TOY_CARD_FAILS", "1000000000"))


def _told(call: str) -> None:
    global _left
    _left -= call == "grade"
    if _left < 0:
        raise MemoryError(f"out of memory, as of process {os.getpid()}")


_toy = toy_cupy.toy_cupy(_told)
if taken := os.environ.get("TOY_CARD_TAKEN"):
    try:
        open(taken, "x").close()
    except FileExistsError:

        def _none(**facts: bool) -> None:
            raise RuntimeError("cudaErrorNoDevice: no CUDA-capable device is detected")

        _toy.cuda.Stream = _none
globals().update(vars(_toy))
