"""What of CuPy the product calls, over the processor's own memory: its kernels are those of card_as_c.py."""

from __future__ import annotations

import ctypes
import itertools
from collections.abc import Callable
from functools import partial
from types import SimpleNamespace

import numpy as np

from card_as_c import library
from rushlight.pipelines.card.kernel_text import CARD, text

SAMPLES = ("uint8", "uint16", "float32")


def memory(size: int) -> ctypes.Array[ctypes.c_ubyte]:
    """Of no particular content, as CuPy's are."""
    found = (ctypes.c_ubyte * size)()
    ctypes.memset(found, 0xA5, size)
    found.ptr = ctypes.addressof(found)  # type: ignore[attr-defined]
    return found


class Stream:
    ptr = 1

    def __init__(self, non_blocking: bool) -> None:
        assert non_blocking

    def __enter__(self) -> None: ...

    def __exit__(self, *_: object) -> None: ...

    def synchronize(self) -> None: ...


def toy_cupy(told: Callable[[str], None] = lambda call: None) -> SimpleNamespace:
    """A module; `told` is told of each call, and may raise."""

    def alloc(size: int) -> ctypes.Array[ctypes.c_ubyte]:
        told("alloc")
        return memory(size)

    def copy(there: int, here: int, size: int, kind: int, stream: int) -> None:
        told("copy")
        ctypes.memmove(there, here, size)

    def compiled(code: str, options: tuple[str, ...]) -> tuple[str, None]:
        told("compile")
        assert "--fmad=false" in options and "--ftz=false" in options
        return code, None

    def loaded(self: SimpleNamespace, code: str) -> None:
        pairs = itertools.product(SAMPLES, repeat=2)
        kernel = library(*next(p for p in pairs if text(CARD, *map(np.dtype, p)) == code))

        def launched(name: str) -> Callable[..., None]:
            def launch(grid: tuple[int, int], block: tuple[int, int], args: tuple[np.generic, ...]) -> None:
                told(name)
                kinds = {np.uint64: ctypes.c_void_p, np.uint32: ctypes.c_uint}
                getattr(kernel, name)(*(kinds[type(arg)](int(arg)) for arg in args))

            return launch

        self.get_function = launched

    def module() -> SimpleNamespace:
        found = SimpleNamespace()
        found.load = partial(loaded, found)
        return found

    runtime = SimpleNamespace(
        memcpyAsync=copy,
        memsetAsync=lambda place, value, size, stream: ctypes.memset(place, value, size),
        getDeviceProperties=lambda number: {"name": b"Toy"},
    )
    cuda = SimpleNamespace(runtime=runtime, alloc=alloc, alloc_pinned_memory=memory, Stream=Stream)
    cuda.compiler = SimpleNamespace(compile_using_nvrtc=compiled)
    cuda.function = SimpleNamespace(Module=module)
    return SimpleNamespace(cuda=cuda)
