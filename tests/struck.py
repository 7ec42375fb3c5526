"""`rushlight` with a signal, or a closed terminal, at a moment of its own: `python struck.py MOMENT STRIKE [here] -- render …`.

A moment is a function of the product: the strike comes as it is called, in this process or on a thread of it. `here` puts
the work into this process (here.py), for the sake of speed; a signal then still comes as one. A signal goes to the whole
process group, as from a terminal or a service manager. `hangup` waits until the other end has closed the terminal.
"""

from __future__ import annotations

import importlib
import os
import signal
import sys
import time
from collections.abc import Callable
from typing import Any

MOMENTS = {
    "reading": "rushlight.batch.prepare:read_list",
    "planning": "rushlight.batch.rowplan:plan_clip",
    "keeping": "rushlight.batch.night:keep_inputs",
    "baking": "rushlight.batch.inputs:_bake",
    "starting": "rushlight.batch.cluster:_quiet",
    "queueing": "rushlight.batch.store:Store.add",
    "first segment": "rushlight.batch.runner:_Loop.send",
    "segment home": "rushlight.batch.store:Store.keep_segments",
    "joining": "rushlight.batch.runner:let_finish",
    "record": "rushlight.batch.runner:append_record",
    "reporting": "rushlight.batch.report:write_report",
    "manifest": "rushlight.batch.manifest:write_manifest",
    "page": "rushlight.batch.report:batch_csv",
    "measuring": "rushlight.batch.verify:verify_clip",
    "waiting": "rushlight.batch.runner:_Loop.idle",
}


def strike(how: str) -> None:
    if how != "hangup":
        os.killpg(0, getattr(signal, how))
        return
    os.write(int(os.environ["STRUCK"]), b"now")
    while os.isatty(1):  # no longer, once the other end is closed
        time.sleep(0.01)


def before(moment: str, call: Callable[[], None], put: Callable[..., None] = setattr) -> None:
    """Have that made before that function is first called."""
    module, _, name = MOMENTS[moment].partition(":")
    owner: Any = importlib.import_module(module)
    *parents, name = name.split(".")
    for parent in parents:
        owner = getattr(owner, parent)
    real: Callable[..., Any] = getattr(owner, name)
    done: list[bool] = []

    def struck(*arguments: Any, **options: Any) -> Any:
        if not done:
            done.append(True)
            call()
        return real(*arguments, **options)

    put(owner, name, struck)


def main() -> None:
    mine, theirs = sys.argv[1 : sys.argv.index("--")], sys.argv[sys.argv.index("--") + 1 :]
    moment, how, *here = mine
    if here:
        from here import HereFarm
        from rushlight.batch import farm

        farm.DaskFarm = lambda **options: HereFarm()  # type: ignore[assignment,misc]
    before(moment, lambda: strike(how))
    sys.argv[1:] = theirs
    from rushlight.batch.cli import main as rushlight

    rushlight()


if __name__ == "__main__":
    main()
