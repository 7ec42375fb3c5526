"""A sensor's mosaic in a TIFF is told, whatever it is called; and nothing that only looks like a TIFF makes it stumble."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import foreign
from foreign import write_tiff
from rushlight.pipelines.originals.raw_mosaic import is_mosaic


@pytest.mark.parametrize(
    ("directories", "raw"),
    [
        ([{}], False),
        ([{262: (3, 2), 277: (3, 3)}], False),
        ([{262: (3, 32803)}], True),
        ([{262: (3, 34892), 277: (3, 3)}], True),
        ([{33421: (3, 2)}], True),
        ([{50706: (1, 0x401), 262: (3, 2), 277: (3, 3)}], True),
        ([{262: (3, 2), 277: (3, 3)}, {262: (3, 32803)}], True),
        ([{262: (3, 2), 277: (3, 3)}, {}], False),
    ],
)
def test_the_tags_tell(tmp_path: Path, directories: list, raw: bool) -> None:
    write_tiff(tmp_path / "a.tif", directories)
    assert is_mosaic(tmp_path / "a.tif") is raw


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.binary(max_size=200), order=st.sampled_from([b"II*\0", b"MM\0*", b"II+\0\x08\0\0\0", b"PNG"]))
def test_noise_is_no_mosaic_and_no_fault(tmp_path: Path, data: bytes, order: bytes) -> None:
    (tmp_path / "a.tif").write_bytes(order + data)
    assert is_mosaic(tmp_path / "a.tif") in (True, False)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(place=st.integers(0, 400), value=st.binary(min_size=1, max_size=4))
def test_a_damaged_one_is_read_or_let_be(tmp_path: Path, place: int, value: bytes) -> None:
    foreign.dng_called_tiff(tmp_path / "d")
    path = next((tmp_path / "d").iterdir())
    data = bytearray(path.read_bytes())
    at = len(data) - 400 + place if place < 400 else 4
    data[at : at + len(value)] = value
    path.write_bytes(bytes(data))
    assert is_mosaic(path) in (True, False)
