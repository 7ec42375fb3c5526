import threading
import time
from collections.abc import Iterator

import pytest

from rushlight.pipelines.render.threads import Ahead, Behind


def failing(after: int) -> Iterator[int]:
    yield from range(after)
    raise OSError("unplugged")


def test_items_come_in_order_and_are_made_ahead_but_not_far() -> None:
    made: list[int] = []

    def items() -> Iterator[int]:
        for k in range(50):
            made.append(k)
            yield k

    with Ahead(items(), depth=3) as ahead:
        source = iter(ahead)
        assert next(source) == 0
        deadline = time.monotonic() + 5
        while len(made) < 4 and time.monotonic() < deadline:
            time.sleep(0.001)
        time.sleep(0.05)
        assert len(made) == 4  # one used, three waiting
        assert list(source) == list(range(1, 50))


def test_a_fault_comes_where_its_item_was_due() -> None:
    got: list[int] = []
    with pytest.raises(OSError, match="unplugged"), Ahead(failing(3)) as ahead:
        for item in ahead:
            got.append(item)
    assert got == [0, 1, 2]


def test_leaving_early_stops_the_thread() -> None:
    before = threading.active_count()

    def endless() -> Iterator[int]:
        while True:
            yield 1

    with pytest.raises(KeyError), Ahead(endless()) as ahead:
        next(iter(ahead))
        raise KeyError
    assert threading.active_count() == before


def test_calls_are_made_in_order_on_one_other_thread() -> None:
    seen: list[tuple[int, int]] = []
    with Behind(depth=2) as behind:
        for k in range(20):
            behind.do(lambda k=k: seen.append((k, threading.get_ident())))
        behind.finish()
    assert [k for k, _ in seen] == list(range(20))
    assert len({who for _, who in seen}) == 1
    assert seen[0][1] != threading.get_ident()


def test_a_call_that_fails_ends_the_rest_and_is_raised() -> None:
    made: list[int] = []

    def full() -> None:
        raise OSError("no space left")

    with pytest.raises(OSError, match="no space"), Behind(depth=1) as behind:
        behind.do(full)
        for k in range(10):
            behind.do(lambda k=k: made.append(k))
        behind.finish()
    assert made == []


def test_an_exception_outside_drops_what_waits() -> None:
    made: list[int] = []
    gate = threading.Event()
    before = threading.active_count()
    with pytest.raises(KeyError), Behind(depth=4) as behind:
        behind.do(lambda: gate.wait(5))
        behind.do(lambda: made.append(1))
        threading.Timer(0.05, gate.set).start()
        raise KeyError
    assert made == []
    assert threading.active_count() <= before + 1  # the timer may still be ending
