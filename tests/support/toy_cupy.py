"""What of CuPy the product calls, over the processor's own memory: its kernels are those of card_as_c.py.

Copies are made when their event is asked for the first time, which finds them not ready: so that whoever looks too early sees noise.
"""

from __future__ import annotations

import ctypes
import itertools
import weakref
from collections.abc import Callable
from functools import partial
from types import SimpleNamespace
from typing import Any

import numpy as np

from card_as_c import library
from rushlight.pipelines.card.kernel_text import CARD, text

SAMPLES = ("uint8", "uint16", "float32")
NOT_READY = 600
NUMBERS = itertools.count(1)


def memory(size: int) -> ctypes.Array[ctypes.c_ubyte]:
    """Of no particular content, as CuPy's are."""
    found = (ctypes.c_ubyte * size)()
    ctypes.memset(found, 0xA5, size)
    found.ptr = ctypes.addressof(found)  # type: ignore[attr-defined]
    return found


class Handle:
    """A stream or an event."""

    def __init__(self, **facts: bool) -> None:
        assert facts in ({"non_blocking": True}, {"disable_timing": True})
        self.ptr = next(NUMBERS)

    def __enter__(self) -> None: ...

    def __exit__(self, *_: object) -> None: ...


def toy_cupy(told: Callable[[str], None] = lambda call: None) -> SimpleNamespace:
    """A module; `told` is told of each call, and may raise. `module.asked` has the work that is under way, `module.live()` the sizes
    of memory of the card that somebody holds."""
    asked: list[Callable[[], object]] = []
    due: dict[int, int] = {}  # event -> how much of `asked` stands before it
    made: list[weakref.ref[Any]] = []

    def alloc(size: int) -> ctypes.Array[ctypes.c_ubyte]:
        told("alloc")
        found = memory(size)
        made.append(weakref.ref(found))
        return found

    def copy(there: int, here: int, size: int, kind: int, stream: int) -> None:
        told("copy")
        asked.append(partial(ctypes.memmove, there, here, size))

    def query(event: int) -> int:
        told("query")
        if event not in due or not due[event]:
            return 0
        for work in asked[: due[event]]:
            work()
        done = due[event]
        del asked[:done]
        due.update({e: max(0, n - done) for e, n in due.items()})
        return NOT_READY

    def compiled(code: str, options: tuple[str, ...]) -> tuple[bytes, None]:
        told("compile")
        assert "--fmad=false" in options and "--ftz=false" in options
        return code.encode(), None

    def loaded(self: SimpleNamespace, machine_code: bytes) -> None:
        code = machine_code.decode()
        pairs = itertools.product(SAMPLES, repeat=2)
        kernel = library(*next(p for p in pairs if text(CARD, *map(np.dtype, p)) == code))

        def launched(name: str) -> Callable[..., None]:
            def launch(grid: tuple[int, int], block: tuple[int, int], args: tuple[np.generic, ...]) -> None:
                told(name)
                kinds = {np.uint64: ctypes.c_void_p, np.uint32: ctypes.c_uint, np.int32: ctypes.c_int}
                values = [kinds[type(arg)](int(arg)) for arg in args]
                asked.append(partial(getattr(kernel, name), *values))

            return launch

        self.get_function = launched

    def module() -> SimpleNamespace:
        found = SimpleNamespace()
        found.load = partial(loaded, found)
        return found

    def noted(event: int, stream: int) -> None:
        due[event] = len(asked)

    runtime = SimpleNamespace(
        memcpyAsync=copy,
        memsetAsync=lambda place, value, size, stream: asked.append(
            partial(ctypes.memset, place, value, size)
        ),
        eventRecord=noted,
        eventQuery=query,
        streamSynchronize=lambda stream: told("synchronize"),
        getDeviceCount=lambda: told("count") or 1,
        getDeviceProperties=lambda number: {"name": b"Toy"},
        runtimeGetVersion=lambda: 13020,
        driverGetVersion=lambda: 13000,
        memGetInfo=lambda: (3_000_000_000, 4_000_000_000),
    )
    cuda = SimpleNamespace(
        runtime=runtime, Memory=alloc, alloc_pinned_memory=memory, Stream=Handle, Event=Handle
    )
    cuda.compiler = SimpleNamespace(compile_using_nvrtc=compiled)
    cuda.Device = lambda: SimpleNamespace(compute_capability="90")
    cuda.function = SimpleNamespace(Module=module)

    def live() -> list[int]:
        return [ctypes.sizeof(found) for ref in made if (found := ref()) is not None]

    return SimpleNamespace(cuda=cuda, __version__="14.2.0", asked=asked, live=live)
