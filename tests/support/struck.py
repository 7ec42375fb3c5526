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
    "reading": "rushlight.batch.plan.prepare:read_list",
    "planning": "rushlight.batch.plan.plan_row:plan_clip",
    "keeping": "rushlight.batch.run.jobs_to_make:keep_inputs",
    "baking": "rushlight.batch.looks.baked_looks:_bake",
    "starting": "rushlight.batch.farm.dask_cluster:_quiet",
    "queueing": "rushlight.batch.queue.store:Store.add",
    "first segment": "rushlight.batch.run.feeding:Feeding.send",
    "segment home": "rushlight.batch.queue.store:Store.keep_segments",
    "joining": "rushlight.batch.run.feeding:let_finish",
    "record": "rushlight.batch.run.delivery:append_record",
    "reporting": "rushlight.batch.report.pages:write_report",
    "tables": "rushlight.batch.report.clip_tables:write_clip_tables",
    "manifest": "rushlight.batch.report.mhl_manifest:write_manifest",
    "page": "rushlight.batch.report.pages:batch_csv",
    "measuring": "rushlight.batch.verify.deliveries:verify_clip",
    "waiting": "rushlight.batch.run.runner:_Loop.idle",
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
        from rushlight.batch.farm import dask_farm

        dask_farm.DaskFarm = lambda **options: HereFarm()  # type: ignore[assignment,misc]
    before(moment, lambda: strike(how))
    sys.argv[1:] = theirs
    from rushlight.batch.cli.main import main as rushlight

    rushlight()


if __name__ == "__main__":
    main()
