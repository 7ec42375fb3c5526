"""`import rushlight`: quick, silent, complete."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

import rushlight
from rushlight.pipelines import errors

HEAVY = (
    "numpy",
    "numba",
    "av",
    "OpenImageIO",
    "PyOpenColorIO",
    "colour",
    "scipy",
    "dask",
    "distributed",
    "rich",
)


def fresh(code: str) -> subprocess.CompletedProcess[str]:
    """That code in a process of its own."""
    return subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)


def test_import_loads_no_library_of_pictures_or_farms() -> None:
    code = f"import rushlight, sys, json; dir(rushlight); print(json.dumps([m for m in {HEAVY!r} if m in sys.modules]))"
    done = fresh(code)
    assert (json.loads(done.stdout), done.stderr) == ([], "")


def test_import_loads_none_of_its_rooms() -> None:
    done = fresh("import rushlight, sys; print(sorted(m for m in sys.modules if m.startswith('rushlight')))")
    assert done.stdout.strip() == "['rushlight']"


def test_plan_render_and_report_start_without_a_compiler() -> None:
    """Numba and the libraries that only a picture needs take a second of every start."""
    made = "import rushlight.batch.cli.plan_command, rushlight.batch.api.render, rushlight.batch.api.report"
    heavy = [name for name in HEAVY if name not in ("numpy", "av")]
    done = fresh(f"{made}, sys, json; print(json.dumps([m for m in {heavy!r} if m in sys.modules]))")
    assert json.loads(done.stdout) == []


@pytest.mark.parametrize("name", dir(rushlight))
def test_every_name_is_there(name: str) -> None:
    assert getattr(rushlight, name).__name__.rpartition(".")[2] == name


def test_a_wrong_name_is_said_as_python_says_it() -> None:
    with pytest.raises(AttributeError, match="module 'rushlight' has no attribute 'rendr'"):
        rushlight.rendr  # noqa: B018


def test_errors_are_one_tree() -> None:
    found = [getattr(rushlight, name) for name in dir(rushlight) if name.endswith("Error")]
    assert errors.RushlightError in found
    assert all(issubclass(error, errors.RushlightError) for error in found)
