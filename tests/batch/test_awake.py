"""A machine kept awake: asked of the system's tool, told once, let go with the process."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from rushlight.batch import own_process
from rushlight.batch.api.nights import held_to
from rushlight.batch.awake import kept_awake
from rushlight.batch.records.events import EventDocument
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.events import Terms


@pytest.fixture()
def tools(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder that has the machine's own programs but none that keep it awake; PATH is that alone."""
    folder = tmp_path / "bin"
    folder.mkdir()
    for name in ("cat", "sh", "sleep"):
        (folder / name).symlink_to(f"/bin/{name}")
    monkeypatch.setenv("PATH", str(folder))
    return folder


def tool(folder: Path, name: str, body: str) -> Path:
    """A tool of that name that keeps a note of what it was asked; gives the note."""
    (folder / name).write_text(f'#!/bin/sh\necho "$$ $@" > {folder / "asked"}\n{body}\n')
    (folder / name).chmod(0o755)
    return folder / "asked"


RUN = 'while [ "$1" != cat ]; do shift; done; exec "$@"'


@pytest.mark.parametrize("name", ["systemd-inhibit", "caffeinate"])
def test_it_is_held_in_there_and_told_once(tools: Path, name: str) -> None:
    asked, said = tool(tools, name, RUN), list[str]()
    with kept_awake(said.append):
        deadline = time.monotonic() + 60
        while not said and time.monotonic() < deadline:
            time.sleep(0.01)
        process = int(asked.read_text().split()[0])
        assert Path(f"/proc/{process}/comm").read_text().strip() == "cat"
    assert said == [f"this machine is kept awake until the night ends ({name})"]
    assert not Path(f"/proc/{process}").exists()
    assert asked.read_text().split()[-1] == "cat"


def test_without_a_tool_nothing_is_said(tools: Path) -> None:
    said = list[str]()
    with kept_awake(said.append):
        pass
    assert not said


@pytest.mark.parametrize("body", ["exit 1", "echo 'Failed to connect to bus' >&2; exit 1"])
def test_a_tool_that_may_not_costs_nothing(tools: Path, body: str) -> None:
    tool(tools, "systemd-inhibit", body)
    said = list[str]()
    with kept_awake(said.append):
        pass
    assert not said


def test_a_tool_that_hangs_is_ended(tools: Path) -> None:
    asked = tool(tools, "systemd-inhibit", "exec sleep 600")
    with kept_awake(lambda text: None):
        while not (asked.exists() and asked.read_text().strip()):
            time.sleep(0.01)
    assert not Path(f"/proc/{asked.read_text().split()[0]}").exists()


def test_it_lets_go_of_a_night_that_is_killed(tools: Path) -> None:
    asked = tool(tools, "systemd-inhibit", RUN)
    night = (
        "import os, signal, threading\n"
        "from rushlight.batch.awake import kept_awake\n"
        "told = threading.Event()\n"
        "with kept_awake(lambda text: told.set()):\n"
        "    told.wait(60)\n"
        "    os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    assert subprocess.run([sys.executable, "-c", night], env=dict(os.environ)).returncode == -9
    process, deadline = Path("/proc", asked.read_text().split()[0]), time.monotonic() + 60
    while process.exists() and "State:\tZ" not in (process / "status").read_text():
        assert time.monotonic() < deadline
        time.sleep(0.01)


@pytest.mark.parametrize("own", [True, False])
def test_a_commands_night_is_kept_awake_and_a_programs_is_not(
    tools: Path, monkeypatch: pytest.MonkeyPatch, own: bool
) -> None:
    asked, heard = tool(tools, "systemd-inhibit", RUN), list[str]()
    monkeypatch.setattr(own_process, "_own", own)

    def listener(document: EventDocument) -> None:
        heard.append(document["event"])

    def night() -> int:
        deadline = time.monotonic() + 60
        while own and "note" not in heard and time.monotonic() < deadline:
            time.sleep(0.01)
        return 0

    assert held_to(Terms(), {}, EventStream(listener), night) == 0
    assert heard.count("note") == own and asked.exists() is own
