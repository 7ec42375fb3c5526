"""Who grades: a card that gives other bits, fails or is not there costs no frame, and is not asked again."""

import os
import sys
from collections.abc import Callable
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from types import ModuleType, SimpleNamespace

import pytest

import card_as_c
from card_as_c import needs_compiler
from card_matrix import Way, graded, noise, random_look, ways
from rushlight.pipelines.card import graphics as graphics_module
from rushlight.pipelines.card import transfer
from rushlight.pipelines.card.graphics import Graphics, load_ahead
from rushlight.pipelines.grading.kernel import grade_rows
from toy_cupy import toy_cupy

pytestmark = needs_compiler
LOOK = cache(random_look)
WAY = Way(source="yuv422p10le", target="yuv420p", size=(30, 8))
OTHER = Way(source="gbrp", target="yuv444p16le", size=(30, 8))


@pytest.fixture(autouse=True)
def cache_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))


def is_right(graphics: Graphics, way: Way = WAY, seed: int = 1) -> bool:
    frame, baked = noise(way.source, *way.size, seed), LOOK(seed)
    return graded(baked, way, graphics, frame) == graded(baked, way, grade_rows, frame)


def by(toy: SimpleNamespace | ModuleType | None, monkeypatch: pytest.MonkeyPatch) -> Graphics:
    """Graphics where this is what `import cupy` finds."""
    monkeypatch.setitem(sys.modules, "cupy", toy)  # type: ignore[arg-type]
    return Graphics()


def test_a_card_that_is_right_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[str] = []
    graphics = by(toy_cupy(calls.append), monkeypatch)
    assert graphics.name == "Toy" and graphics.memory == (3_000_000_000, 4_000_000_000)
    assert is_right(graphics) and graphics.why_not == "" and graphics.by == "Toy"
    assert calls.count("grade") == 3  # two tests, and the frame
    assert is_right(graphics) and calls.count("grade") == 4
    for seed, way in enumerate(ways(seed=6, many=24)):
        assert is_right(graphics, way, seed)
    assert graphics.why_not == ""


def test_no_cupy_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    graphics = by(None, monkeypatch)
    assert is_right(graphics) and "pip install 'rushlight[cuda]'" in graphics.why_not
    assert graphics.memory == (0, 0)


@pytest.mark.parametrize("error", [ImportError, OSError, RuntimeError, AttributeError, UserWarning])
def test_a_cupy_that_cannot_be_loaded_is_said(
    error: type[Exception], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Broken libraries of CUDA raise whatever they do, and what CuPy warns of is nobody's business."""
    words = f'raise {error.__name__}("libcudart.so.13:\\n  cannot open shared object file")'
    (tmp_path / "cupy.py").write_text(f'import warnings\nwarnings.warn("two of them")\n{words}\n')
    monkeypatch.delitem(sys.modules, "cupy", raising=False)
    monkeypatch.syspath_prepend(tmp_path)
    graphics = Graphics()
    assert is_right(graphics)
    assert graphics.why_not.endswith(": libcudart.so.13: cannot open shared object file")


def raises(words: str) -> Callable[..., None]:
    def call(*_: object, **__: object) -> None:
        raise RuntimeError(words)

    return call


HIDDEN = "cudaErrorNoDevice: no CUDA-capable device is detected"


def test_a_card_that_is_hidden_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """As CUDA_VISIBLE_DEVICES= does. No stream is asked for: CuPy's complains on the terminal as it goes."""
    toy = toy_cupy()
    toy.cuda.runtime.getDeviceCount = raises(HIDDEN)
    toy.cuda.Stream = None
    graphics = by(toy, monkeypatch)
    assert is_right(graphics) and graphics.why_not == f"no card can be used: {HIDDEN}"


def test_a_driver_that_is_not_loaded_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    toy = toy_cupy()
    toy.cuda.runtime.driverGetVersion = lambda: 0
    graphics = by(toy, monkeypatch)
    assert is_right(graphics) and graphics.why_not == "no card can be used: NVIDIA's driver is not loaded"


def test_a_card_that_others_fill_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    toy = toy_cupy()
    toy.cuda.runtime.memGetInfo = raises("cudaErrorMemoryAllocation: out of memory")
    graphics = by(toy, monkeypatch)
    assert is_right(graphics)
    assert graphics.why_not == "no card can be used: cudaErrorMemoryAllocation: out of memory"


def wrong(monkeypatch: pytest.MonkeyPatch) -> None:
    """A sum in another order, of which the last bit differs now and then: 5 of 2 million bytes of 8 bits."""
    right = card_as_c.text
    order = "luma + s->matrix[1] * cb + s->matrix[2] * cr", "luma + (s->matrix[1] * cb + s->matrix[2] * cr)"
    monkeypatch.setattr(card_as_c, "text", lambda *facts: right(*facts).replace(*order))


def test_a_card_with_other_bits_is_not_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    wrong(monkeypatch)
    graphics = by(toy_cupy(), monkeypatch)
    assert is_right(graphics) and graphics.why_not == "Toy did not give the processor's colour in a test"


def test_a_card_that_gives_other_bits_later_is_found_by_its_next_test(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(graphics_module, "AGAIN", 3)
    calls: list[str] = []
    graphics = by(toy_cupy(calls.append), monkeypatch)
    assert all(is_right(graphics) for _ in range(3)) and calls.count("grade") == 2 + 3
    assert is_right(graphics) and calls.count("grade") == 4 + 4
    wrong(monkeypatch)
    graphics._card._kernels.clear()  # type: ignore[union-attr]
    assert not (is_right(graphics) or is_right(graphics) or graphics.why_not)  # what no test can know
    assert is_right(graphics)
    assert graphics.why_not == (
        "Toy did not give the processor's colour in a test; it did 3 frames of this look ago, and may not have since"
    )
    asked = calls.count("grade")
    assert is_right(graphics) and calls.count("grade") == asked


@pytest.mark.parametrize("call", ["alloc", "compile", "copy", "query", "grade", "chroma"])
@pytest.mark.parametrize("late", [False, True])
def test_a_card_that_fails_costs_no_frame(call: str, late: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """In its first call, or with the night half done. What it has is never let go: that would fail as well."""
    failing: set[str] = set() if late else {call}

    def told(what: str) -> None:
        if what in failing:
            raise RuntimeError(f"out of memory\n in {what}")

    toy = toy_cupy(told)
    graphics = by(toy, monkeypatch)
    if late:
        assert is_right(graphics) and graphics.why_not == ""
        failing.add(call)
    assert is_right(graphics, OTHER, 2) and graphics.why_not == f"the card failed: out of memory in {call}"
    assert graphics.by == "processor"
    failing.clear()
    held = toy.live()
    assert is_right(graphics) and graphics.why_not  # not asked again
    assert toy.live() == held and bool(held) == (late or call not in ("alloc", "compile"))


@pytest.mark.parametrize("nth", range(4))
def test_memory_that_is_full_at_any_time_costs_no_frame(nth: int, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []

    def told(what: str) -> None:
        asked.append(what)
        if asked.count("alloc") > nth:
            raise MemoryError("Out of memory allocating 132,710,400 bytes")

    graphics = by(toy_cupy(told), monkeypatch)
    larger = Way(source="yuv422p10le", target="yuv444p16le", size=(130, 60))
    assert is_right(graphics) and is_right(graphics, larger, 2)
    assert graphics.why_not == "the card failed: Out of memory allocating 132,710,400 bytes"


def test_a_card_that_hangs_costs_no_frame(monkeypatch: pytest.MonkeyPatch) -> None:
    toy, clock = toy_cupy(), [0.0]
    graphics = by(toy, monkeypatch)
    assert is_right(graphics) and graphics.why_not == ""

    def sleep(seconds: float) -> None:
        clock[0] += seconds

    monkeypatch.setattr(transfer, "time", SimpleNamespace(sleep=sleep))
    monkeypatch.setattr(toy.cuda.runtime, "eventQuery", lambda event: transfer.NOT_READY)
    assert is_right(graphics)
    assert graphics.why_not == "the card failed: it has not answered for 20 s"
    waited = clock[0]
    assert is_right(graphics) and clock[0] == waited


def test_a_fork_begins_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """CUDA does not work in a fork of a process that used it."""
    toy, calls = toy_cupy(), list[str]()
    graphics = by(toy, monkeypatch)
    assert is_right(graphics)
    held = len(toy.live())
    monkeypatch.setitem(sys.modules, "cupy", toy_cupy(calls.append))  # type: ignore[arg-type]
    process = os.getpid()
    monkeypatch.setattr(graphics_module.os, "getpid", lambda: process + 1)
    assert is_right(graphics) and calls.count("grade") == 3
    assert len(toy.live()) == held  # the parent's


def test_cupy_is_loaded_ahead_of_forks_where_it_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(sys.modules, "cupy", raising=False)
    if not find_spec("cupy"):
        assert not load_ahead()
    (tmp_path / "cupy.py").write_text('import warnings\nwarnings.warn("two of them")\n')
    monkeypatch.syspath_prepend(tmp_path)
    assert load_ahead()
    del sys.modules[
        "cupy"
    ]  # KeyError where it was not; put back, it would be taken for CuPy by later tests' scipy
