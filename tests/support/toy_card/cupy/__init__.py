"""CuPy as processes of a test see it, with the folder above on their path: toy_cupy.py's card.

TOY_CARD_LOG: a file that each process writes itself, its parent and that one's parent into, after `import` once it imports this and
after `asked` once it asks anything of the card.
TOY_CARD_FAILS: after so many pictures the card has no more memory. TOY_CARD_TAKEN: a file that does not exist; the process that
makes it has the card, others see none.
"""

import os
import sys
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[2]))
import toy_cupy

_known: set[tuple[str, int]] = set()


def _log(what: str) -> None:
    if (what, os.getpid()) not in _known and (log := os.environ.get("TOY_CARD_LOG")):
        _known.add((what, os.getpid()))
        above = Path(f"/proc/{os.getppid()}/stat").read_text().rpartition(")")[2].split()[1]
        with open(log, "a") as stream:
            stream.write(f"{what} {os.getpid()} {os.getppid()} {above}\n")


_log("import")
_left = int(os.environ.get("TOY_CARD_FAILS", "1000000000"))


def _told(call: str) -> None:
    global _left
    _log("asked")
    if call == "count" and (taken := os.environ.get("TOY_CARD_TAKEN")):
        try:
            open(taken, "x").close()
        except FileExistsError:
            raise RuntimeError("cudaErrorNoDevice: no CUDA-capable device is detected") from None
    _left -= call == "grade"
    if _left < 0:
        raise MemoryError(f"out of memory, as of process {os.getpid()}")


globals().update(vars(toy_cupy.toy_cupy(_told)))
