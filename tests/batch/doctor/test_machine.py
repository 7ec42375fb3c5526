"""A machine examined: what is well here, and each thing that may be wrong, made wrong."""

from __future__ import annotations

import os
import platform
import socket
from pathlib import Path

import pytest

from rushlight.batch.doctor import machine
from rushlight.batch.doctor.finding import Finding
from rushlight.batch.doctor.machine import examine


@pytest.fixture(autouse=True)
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(machine, "SAMPLE", 1_000_000)
    monkeypatch.setattr(machine, "state_folder", lambda: tmp_path / "state")
    monkeypatch.setattr(machine, "graphics_card", lambda: Finding(about="graphics card", found="none"))
    return tmp_path


def found(*folders: Path) -> dict[str, Finding]:
    return {each.about: each for each in examine(folders)}


def test_this_machine_is_well_and_nothing_is_left_behind(state: Path) -> None:
    cards = state / "cards"
    cards.mkdir()
    seen = found(cards)
    assert list(seen) == [
        *("system", "versions", "cores and memory", "graphics card"),
        *("codecs", "fonts", "ports", "state folder"),
        str(cards),
    ]
    assert not [each for each in seen.values() if each.weight == "in the way"]
    assert "rushlight " in seen["versions"].found and "all 12 to write" in seen["codecs"].found
    assert os.listdir(state) == ["cards"] and not os.listdir(cards)


@pytest.mark.parametrize(
    ("system", "weight"), [("Windows", "in the way"), ("Darwin", "note"), ("Linux", "well")]
)
def test_systems(system: str, weight: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(platform, "system", lambda: system)
    assert found()["system"].weight == weight


def test_too_little_memory_says_how_many_workers_fit(monkeypatch: pytest.MonkeyPatch) -> None:
    pages = {"SC_PHYS_PAGES": 600_000, "SC_PAGE_SIZE": 4096}
    monkeypatch.setattr(os, "sysconf", lambda name: pages[name])
    monkeypatch.setattr(machine, "default_workers", lambda: 8)
    seen = found()["cores and memory"]
    assert (seen.weight, seen.advice) == ("note", "give `--workers 2` for large originals")


def test_a_codec_that_is_lacking_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(machine, "_is_there", lambda name, mode: name not in ("prores_ks", "hevc"))
    seen = found()["codecs"]
    assert seen.weight == "in the way"
    assert "encoder prores_ks (prores-422)" in seen.found and "decoder hevc" in seen.found


def test_no_port_is_a_finding_and_not_a_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(address: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(socket, "create_server", refused)
    seen = found()["ports"]
    assert seen.weight == "in the way" and "Permission denied" in seen.found


def test_disks(state: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert found(state / "gone")[str(state / "gone")].weight == "in the way"
    monkeypatch.setattr(machine, "_writes", lambda folder: 12e6)
    assert (found(state)[str(state)].weight, "12 MB a second" in found(state)[str(state)].found) == (
        "note",
        True,
    )
    monkeypatch.setattr(machine, "free_bytes", lambda place: 1000)
    assert found(state)[str(state)].advice == "make room"
    monkeypatch.setattr(os, "access", lambda *_: False)
    assert "right for originals" in found(state)[str(state)].found
    assert found()["state folder"].weight == "in the way"
