"""One input again, or many: see the package's own words."""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

import mutator
from mutator.kinds import KINDS
from mutator.supervise import Supervisor


def main() -> int:
    """The command. Gives 1 where an input failed."""
    parser = argparse.ArgumentParser(prog="python -m mutator", description=mutator.__doc__)
    parser.add_argument("kind", help=f"all, or of {', '.join(KINDS)}")
    parser.add_argument("numbers", help="a number, or FIRST-LAST")
    parser.add_argument("--input", type=Path, help="a mutated input as it was kept")
    parser.add_argument("--keep", type=Path, help="a folder for the seeds and what failed, used again")
    given = parser.parse_args()
    first, _, last = given.numbers.partition("-")
    wanted = [n for n in KINDS if given.kind in ("all", n, KINDS[n].group)]
    keep = given.keep or Path(tempfile.mkdtemp(prefix="rushlight-mutator-"))
    one = Supervisor(home=keep / "home", kept=keep / "failed")
    failed = count = 0
    try:
        if given.input:
            answer = one.one(given.kind, int(first), given.input)
            print("\n".join(answer["calls"]), answer["fault"] or f"passed, {answer['cpu']:.2f} s", sep="\n")
            return bool(answer["fault"])
        inputs = [(name, number) for number in range(int(first), int(last or first) + 1) for name in wanted]
        for fault in one.run(inputs):
            failed += 1
            print(fault, flush=True)
        count = len(inputs)
    finally:
        one.close()
    print(
        f"{count} inputs, {failed} failed; seconds of CPU: { ({k: round(v, 1) for k, v in one.cpu.items()}) }"
    )
    return bool(failed)


if __name__ == "__main__":
    sys.exit(main())
