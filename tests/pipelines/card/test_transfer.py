"""Arrays to a card and back in pieces, each waited for, none waited for for ever."""

import time
from types import SimpleNamespace

import numpy as np
import pytest

from rushlight.pipelines.card import transfer
from rushlight.pipelines.card.transfer import Transfer
from toy_cupy import memory, toy_cupy


def made(monkeypatch: pytest.MonkeyPatch, toy: SimpleNamespace) -> Transfer:
    monkeypatch.setattr(transfer, "PIECE", 4096)
    return Transfer(toy, toy.cuda.Stream(non_blocking=True))


@pytest.mark.parametrize("shape", [(1, 1), (1, 3), (90, 100), (1, 1024), (7, 1021)])
@pytest.mark.parametrize("kind", [np.uint8, np.uint16, np.float32])
def test_what_was_sent_comes_back(
    shape: tuple[int, int], kind: type[np.generic], monkeypatch: pytest.MonkeyPatch
) -> None:
    there = made(monkeypatch, toy_cupy())
    rng = np.random.default_rng(1)
    arrays = [rng.integers(0, 255, shape).astype(kind) for _ in range(3)]
    memories = [memory(array.nbytes) for array in arrays]
    for place, array in zip(memories, arrays, strict=True):
        sent = array.copy()
        there.put(place.ptr, sent)
        sent[:] = 0  # ours again
    around = [np.full((shape[0] + 2, shape[1] + 4), 77, kind) for _ in arrays]
    there.take([place.ptr for place in memories], [whole[1:-1, 2:-2] for whole in around])
    for whole, array in zip(around, arrays, strict=True):
        assert (whole[1:-1, 2:-2] == array).all()
        whole[1:-1, 2:-2] = 77
        assert (whole == 77).all()


def test_a_card_that_hangs_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """And nobody spins meanwhile: it is looked at a few hundred times a second at most."""
    toy, looks, clock = toy_cupy(), [0], [0.0]
    there = made(monkeypatch, toy)

    def hangs(event: int) -> int:
        looks[0] += 1
        return transfer.NOT_READY

    def sleep(seconds: float) -> None:
        clock[0] += seconds

    monkeypatch.setattr(toy.cuda.runtime, "eventQuery", hangs)
    monkeypatch.setattr(transfer, "time", SimpleNamespace(sleep=sleep))
    with pytest.raises(TimeoutError, match="it has not answered for 20 s"):
        there.take([memory(8).ptr], [np.zeros((1, 8), np.uint8)])
    assert 20 < clock[0] < 21 and looks[0] < 20 * 510


def test_an_error_of_the_card_is_raised_by_name(monkeypatch: pytest.MonkeyPatch) -> None:
    toy = toy_cupy()
    there = made(monkeypatch, toy)
    monkeypatch.setattr(toy.cuda.runtime, "eventQuery", lambda event: 719)
    with pytest.raises(RuntimeError, match="CUDA error 719"):
        there.put(memory(8).ptr, np.zeros(8, np.uint8))

    def gone(stream: int) -> None:
        raise OSError("cudaErrorDevicesUnavailable")

    monkeypatch.setattr(toy.cuda.runtime, "streamSynchronize", gone)
    with pytest.raises(OSError, match="Unavailable"):
        there.put(memory(8).ptr, np.zeros(8, np.uint8))


def test_the_processor_is_left_alone_while_the_card_works(monkeypatch: pytest.MonkeyPatch) -> None:
    toy, until = toy_cupy(), time.monotonic() + 0.3
    there = made(monkeypatch, toy)
    answer = toy.cuda.runtime.eventQuery

    def busy(event: int) -> int:
        return transfer.NOT_READY if time.monotonic() < until else answer(event)

    monkeypatch.setattr(toy.cuda.runtime, "eventQuery", busy)
    begun = time.thread_time()
    there.take([memory(8).ptr], [np.zeros((1, 8), np.uint8)])
    assert time.thread_time() - begun < 0.1
