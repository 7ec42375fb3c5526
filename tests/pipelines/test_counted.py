"""One of a thing is not two of it."""

from rushlight.pipelines.counted import counted


def test_one_has_no_s() -> None:
    assert [counted(n, "clip") for n in (0, 1, 2)] == ["0 clips", "1 clip", "2 clips"]
