"""What a machine has: system, versions, cores, memory, graphics card, codecs, fonts, compiled code, ports and disks."""

from __future__ import annotations

import os
import platform
import socket
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from rushlight.batch.disks import existing, free_bytes, network_file_system, size_text, state_folder
from rushlight.batch.doctor.finding import Finding
from rushlight.batch.doctor.graphics_card import graphics_card
from rushlight.batch.plan.request import default_workers
from rushlight.pipelines.formats.codecs import CODECS

__all__ = ["examine"]

WORKER = 750_000_000  # bytes of memory that a worker takes at 3840x2160 (docs/performance.md)
RUNNER = 700_000_000  # and all that is not a worker
READ = ("prores", "dnxhd", "h264", "hevc", "mjpeg")  # decoders of originals
SAMPLE = 32_000_000  # bytes written to a disk to see how fast it is
SLOW = 30e6  # bytes a second, below which writing holds up a night


def examine(folders: Sequence[Path]) -> Iterator[Finding]:
    """Every finding but speed, in the order of reading; `folders` are those where work will lie. What raises is a finding too."""
    looks: list[tuple[str, Callable[[], Finding]]] = [
        ("system", _system),
        ("versions", _versions),
        ("cores and memory", _memory),
        ("graphics card", graphics_card),
        ("codecs", _codecs),
        ("fonts", _fonts),
        ("ports", _ports),
        ("state folder", lambda: _disk("state folder", state_folder(), writing=True)),
        *((str(folder), lambda folder=folder: _disk(str(folder), folder)) for folder in folders),
    ]
    for about, look in looks:
        try:
            yield look()
        except Exception as error:
            yield Finding(about=about, found=f"{type(error).__name__}: {error}", weight="in the way")


def _system() -> Finding:
    name = platform.system()
    found = f"{name} {platform.release()}, {platform.machine()}, Python {platform.python_version()}"
    if name == "Linux":
        return Finding(about="system", found=found)
    if name == "Darwin":
        return Finding(about="system", found=found, weight="note", advice="macOS is untried")
    return Finding(
        about="system", found=found, weight="in the way", advice="use Linux; this is not supported"
    )


def _versions() -> Finding:
    from rushlight.pipelines.library_versions import versions

    return Finding(about="versions", found=", ".join(f"{name} {is_}" for name, is_ in versions().items()))


def _memory() -> Finding:
    workers = default_workers()
    there = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    fit = max(1, (there - RUNNER) // WORKER)
    found = f"{workers} cores; {size_text(there)} of memory, for {min(fit, 256)} workers at 3840x2160"
    if fit < workers:
        return Finding(
            about="cores and memory",
            found=found,
            weight="note",
            advice=f"give `--workers {fit}` for large originals",
        )
    return Finding(about="cores and memory", found=found)


def _codecs() -> Finding:
    import av

    lacking = sorted(
        {f"encoder {c.encoder} ({c.name})" for c in CODECS.values() if not _is_there(c.encoder, "w")}
        | {f"decoder {name}" for name in READ if not _is_there(name, "r")}
    )
    if lacking:
        return Finding(
            about="codecs",
            found=f"FFmpeg {av.ffmpeg_version_info} lacks {', '.join(lacking)}",
            weight="in the way",
            advice="install the PyAV wheel of this system, which has them",
        )
    return Finding(about="codecs", found=f"all {len(CODECS)} to write, and {len(READ)} to read")


def _is_there(name: str, mode: str) -> bool:
    import av

    try:
        av.Codec(name, mode)  # type: ignore[arg-type]
    except (ValueError, av.error.FFmpegError):
        return False
    return True


def _fonts() -> Finding:
    from rushlight.pipelines.burnin.text_masks import FONT, font_file

    return Finding(about="fonts", found=f"{FONT} is there ({font_file(FONT).name}); others are given by file")


def _ports() -> Finding:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        with socket.create_connection(("127.0.0.1", port), timeout=5):
            pass
    return Finding(about="ports", found="workers of this machine can be reached on 127.0.0.1")


def _disk(about: str, folder: Path, *, writing: bool = False) -> Finding:
    """A folder's disk: free space, and how fast it is written, where it may be; a card that is read alone is well."""
    place = existing(folder)
    if not folder.exists() and not writing:
        return Finding(
            about=about, found="is not there", weight="in the way", advice="make it, or name another"
        )
    free = f"{size_text(free_bytes(place))} free"
    if network := network_file_system(place):
        free += f", on {network}"
    if not os.access(place, os.W_OK):
        if writing:
            return Finding(
                about=about,
                found=f"{place} cannot be written",
                weight="in the way",
                advice="change its permissions",
            )
        return Finding(about=about, found=f"{free}; can be read, not written: right for originals")
    if free_bytes(place) < 4 * SAMPLE:
        return Finding(about=about, found=free, weight="in the way", advice="make room")
    rate = _writes(place)
    found = f"{free}; writes {rate / 1e6:.0f} MB a second"
    if rate < SLOW:
        return Finding(about=about, found=found, weight="note", advice="a faster disk for outputs")
    return Finding(about=about, found=found)


def _writes(folder: Path) -> float:
    """Bytes a second to a file that has no name, until they are on the disk."""
    block = os.urandom(1_000_000)
    begun = time.monotonic()
    with tempfile.TemporaryFile(dir=folder) as file:
        for _ in range(SAMPLE // len(block)):
            file.write(block)
        file.flush()
        os.fsync(file.fileno())
    return SAMPLE / max(time.monotonic() - begun, 1e-6)
