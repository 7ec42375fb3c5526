"""Errors say where and survive the way home from a worker."""

import errno
import pickle

from rushlight.pipelines import errors
from rushlight.pipelines.errors import DeliveryError, RecipeError, ResourceError, SourceError, from_os


def test_every_error_survives_pickling() -> None:
    for name in errors.__all__:
        kind = getattr(errors, name)
        if not isinstance(kind, type):
            continue
        there = kind("no such size", file="night.toml", line=3, key="output[2].size")
        back = pickle.loads(pickle.dumps(there))
        assert type(back) is kind
        assert str(back) == "night.toml:3: output[2].size: no such size"


def test_places_are_filled_in_from_the_outside() -> None:
    inner = RecipeError("takes WIDTHxHEIGHT", key="size")
    assert (
        str(inner.at(key="output[2]", file="night.toml")) == "night.toml: output[2].size: takes WIDTHxHEIGHT"
    )
    assert inner.at(file="a").at(file="b").file == "a"
    assert str(RecipeError("empty", key="[0]").at(key="output")) == "output[0]: empty"


def test_shortages_are_told_from_faults() -> None:
    full = from_os(OSError(errno.ENOSPC, "No space left on device"), "/out/a.mov")
    assert isinstance(full, ResourceError)
    assert isinstance(from_os(OSError(errno.EACCES, "Permission denied"), "a"), DeliveryError)
    assert isinstance(from_os(OSError(errno.EIO, "Input/output error"), "a", reading=True), SourceError)
