"""Versions of what makes pictures on this machine: rushlight, and the libraries that it decodes, grades and encodes with."""

from __future__ import annotations

import platform
from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

__all__ = ["made_with", "versions"]


@cache
def made_with() -> Mapping[str, str]:
    """The versions that a delivered file is made with, and the kind of processor: encoders give other bytes on another."""
    return MappingProxyType({**versions(), "processor": platform.machine()})


def versions() -> dict[str, str]:
    """Versions of what makes the pixels and carries the tasks, on this machine."""
    from importlib.metadata import version

    import av

    packages = (
        "rushlight",
        "av",
        "OpenImageIO",
        "opencolorio",
        "numpy",
        "numba",
        "colour-science",
        "distributed",
    )
    libraries = ("libavcodec", "libavformat", "libswscale")
    return {
        "Python": ".".join(platform.python_version_tuple()[:2]),
        **{name: version(name) for name in packages},
        **{name: ".".join(map(str, av.library_versions[name])) for name in libraries},
    }
