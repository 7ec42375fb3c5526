"""The versions that make the pixels."""

from __future__ import annotations

import platform

from rushlight.pipelines.library_versions import made_with, versions


def test_versions_name_what_makes_the_pixels() -> None:
    assert {"rushlight", "av", "OpenImageIO", "numpy", "numba", "libavcodec", "Python"} <= set(versions())
    assert all(versions().values())


def test_what_a_file_is_made_with_has_the_processor_as_well() -> None:
    assert made_with() == {**versions(), "processor": platform.machine()}
