"""A night served to a test: an output folder with a state, its server on this machine, and requests as any byte string."""

from __future__ import annotations

import http.client
import socket
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

from rushlight.batch.live.night_pages import STATE
from rushlight.batch.records.night_state import (
    NOW,
    ClipReady,
    FramesMade,
    NightCounts,
    NightState,
    ViewingCopy,
)
from rushlight.batch.serve.night_hub import NightHub
from rushlight.batch.serve.night_server import NightServer
from rushlight.batch.serve.nights import Nights
from rushlight.pipelines.inside_folder import write
from rushlight.pipelines.visible_text import json_text

TOKEN = "t0ken-of_a-test"
MOVIE = bytes(range(256)) * 40


def clip_ready(number: int) -> ClipReady:
    movie = ViewingCopy(
        output="viewing", path=f"viewing/A{number}.mp4", width=1280, height=720, bytes=len(MOVIE), plays=True
    )
    return ClipReady(
        job=f"A{number}-0123456789", clip=f"A{number}.mov", finished=f"2026-11-28T01:{number:02}:00+00:00", frames=48, rate="24",
        first_timecode="01:00:00:00", thumb=f"report/pictures/A{number}-small.jpg", still=f"report/pictures/A{number}.jpg",
        stills=[f"stills/A{number}.jpg"], movies=[movie],
    )  # fmt: skip


def night_in(out: Path, clips: int = 2, **more: object) -> NightState:
    """Write an output folder's state with so many clips ready, and their files."""
    counts = NightCounts(
        listed=clips + 1, delivered=clips, running=1, waiting=0, held=0, set_aside=0, failed=0
    )
    values = {
        "schema": NOW, "title": "The Lamp Room, day 12", "written": "2026-11-28T01:12:31+00:00", "phase": "rendering",
        "counts": counts, "frames": FramesMade(made=300, of=900), "ready": [clip_ready(n) for n in reversed(range(clips))],
    }  # fmt: skip
    state = NightState.model_validate(values | more)
    for clip in state.ready:
        for path in (clip.thumb, clip.still, *clip.stills, *(movie.path for movie in clip.movies)):
            if not (out / path).exists():
                write(out, path, MOVIE)
    write(out, STATE, json_text(state.plain()).encode())
    return state


@dataclass
class Answer:
    """What a server said: the first answer of a connection."""

    status: int
    headers: dict[str, str]
    body: bytes


@dataclass
class Served:
    """A server that runs, and how a stranger or a viewer talks to it."""

    server: NightServer
    faults: list[Exception] = field(default_factory=list)

    @property
    def hub(self) -> NightHub:
        return self.server.nights.hubs[0]

    def open(self, timeout: float = 20.0) -> socket.socket:
        return socket.create_connection(("127.0.0.1", self.server.port), timeout)

    def raw(self, data: bytes) -> bytes:
        """All that comes back for these bytes, until the server closes."""
        with self.open() as connection:
            with suppress(OSError):
                connection.sendall(data)
                connection.shutdown(socket.SHUT_WR)
            found = b""
            with suppress(OSError):
                while piece := connection.recv(65536):
                    found += piece
        return found

    def ask(self, path: str, method: str = "GET", *, token: bool = True, **headers: str) -> Answer:
        """One request; `_` in a header's name stands for `-`."""
        connection = http.client.HTTPConnection("127.0.0.1", self.server.port, timeout=20)
        try:
            given = {name.replace("_", "-"): value for name, value in headers.items()}
            connection.request(method, f"/{TOKEN}{path}" if token else path, headers=given)
            answer = connection.getresponse()
            return Answer(answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read())
        finally:
            connection.close()


@contextmanager
def served(*outs: Path, port: int = 0, **options: object) -> Iterator[Served]:
    """Output folders served on 127.0.0.1; a fault of the server's own fails the test."""
    faults: list[Exception] = []
    server = NightServer(
        Nights([NightHub(out) for out in outs]),
        ("127.0.0.1", port),
        TOKEN,
        ("localhost",),
        on_fault=faults.append,
        **options,
    )  # type: ignore[arg-type]
    server.run()
    try:
        yield Served(server, faults)
    finally:
        server.close()
    assert faults == []


def status_of(answer: bytes) -> int:
    """The status of a raw answer; 0 where there is none."""
    words = answer.split(b"\r\n", 1)[0].split()
    return int(words[1]) if len(words) > 1 and words[0].startswith(b"HTTP/") else 0
