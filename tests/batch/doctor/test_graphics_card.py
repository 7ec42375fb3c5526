"""The doctor's line on a graphics card: none, one that nothing is installed for, one that fails, one that grades."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from types import SimpleNamespace

import pytest

from rushlight.batch.doctor import graphics_card as module
from rushlight.batch.doctor.graphics_card import graphics_card

VERSION = "NVRM version: NVIDIA UNIX Open Kernel Module for x86_64  580.159.04  Release Build\nGCC version:  gcc version 13.3.0\n"
GOOD = {
    "why_not": "",
    "name": "A Card",
    "cupy": "14.2.0",
    "free_bytes": 20_000_000_000,
    "total_bytes": 24_000_000_000,
    "card_ms": 1.25,
    "processor_ms": 16.5,
}


@pytest.fixture
def there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """NVIDIA's driver and CuPy are there."""
    version = tmp_path / "version"
    version.write_text(VERSION)
    monkeypatch.setattr(module, "DRIVER", version)
    monkeypatch.setattr(module, "find_spec", lambda name: object())
    monkeypatch.setattr(module, "default_workers", lambda: 16)
    return version


def tried(monkeypatch: pytest.MonkeyPatch, said: str, error: str = "", code: int = 0) -> None:
    found = SimpleNamespace(stdout=said, stderr=error, returncode=code)
    monkeypatch.setattr(subprocess, "run", lambda *_, **__: found)


def test_where_none_is_nothing_is_tried(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "DRIVER", tmp_path / "none")
    monkeypatch.setattr(module.shutil, "which", lambda name: None)
    monkeypatch.setattr(module, "_probed", lambda: pytest.fail("tried"))
    seen = graphics_card()
    assert (seen.weight, seen.found) == ("well", "none of NVIDIA's is there: the processor grades")


@pytest.mark.parametrize(("driver", "extra"), [("580.159.04", "cuda"), ("535.216.01", "cuda12")])
def test_without_cupy_it_says_what_to_install(
    there: Path, monkeypatch: pytest.MonkeyPatch, driver: str, extra: str
) -> None:
    there.write_text(VERSION.replace("580.159.04", driver))
    monkeypatch.setattr(module, "find_spec", lambda name: None)
    seen = graphics_card()
    assert seen.weight == "note" and driver in seen.found and "CuPy is not installed" in seen.found
    assert seen.advice == f"pip install 'rushlight[{extra}]'"


def test_a_card_that_grades(there: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tried(monkeypatch, "a line of somebody else's\n" + json.dumps(GOOD) + "\n")
    seen = graphics_card()
    assert seen.weight == "well"
    for words in (
        "A Card, driver 580.159.04, CuPy 14.2.0",
        "in 1.25 ms, by the processor 16.5",
        "for 25 workers",
    ):
        assert words in seen.found
    assert seen.facts["workers"] == 25 and seen.document()["facts"]["driver"] == "580.159.04"  # type: ignore[index]


def test_too_little_memory_is_said(there: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tried(monkeypatch, json.dumps({**GOOD, "free_bytes": 3_900_000_000}))
    seen = graphics_card()
    assert (seen.weight, seen.facts["workers"]) == ("note", 5)
    assert seen.advice == "of 16 workers those that find no memory on it grade on the processor"


@pytest.mark.parametrize(
    ("said", "error", "words"),
    [
        (json.dumps({"why_not": "no card can be used: cudaErrorNoDevice"}), "", "cudaErrorNoDevice"),
        (
            "",
            "Traceback\nImportError: libcuda.so.1",
            "the process that tried it ended: ImportError: libcuda.so.1",
        ),
        ("", "", "the process that tried it ended: exit code -11"),
    ],
)
def test_a_card_that_is_not_used_is_no_fault(
    there: Path, monkeypatch: pytest.MonkeyPatch, said: str, error: str, words: str
) -> None:
    tried(monkeypatch, said, error, -11)
    seen = graphics_card()
    assert seen.weight == "note" and words in seen.found and seen.found.endswith(": the processor grades")


def test_a_card_that_hangs_is_no_fault(there: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "PATIENCE", 0.2)
    run = subprocess.run
    monkeypatch.setattr(subprocess, "run", lambda command, **more: run(["sleep", "9"], **more))
    assert "did not answer" in graphics_card().found
