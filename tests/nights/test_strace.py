"""What a render writes, as the kernel sees it: nothing outside its folder, the state folder and the caches named here."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from fnmatch import fnmatchcase
from pathlib import Path

import pytest

import rushlight.batch
from command import CALL
from here import small_day
from logged import append_record, latest, read_records

ROOT = Path(rushlight.batch.__path__[0]).resolve().parent  # a checkout, or where it is installed
CALLS = (
    *(
        "open",
        "openat",
        "creat",
        "unlink",
        "unlinkat",
        "rmdir",
        "rename",
        "renameat",
        "renameat2",
        "link",
        "linkat",
    ),
    *("symlink", "symlinkat", "mkdir", "mkdirat", "truncate", "chmod", "fchmodat", "mknod", "mknodat"),
)
# Processes are stopped at these calls alone (seccomp), not at every one.
WATCH = ("strace", "--seccomp-bpf", "-ff", "-y", "-e", f"trace={','.join(CALLS)}")
# Everything else that may be written, as patterns; {home}, {state}, {tmp} and {code} are folders of the test and of ours.
ALLOWED = {
    "the state folder": ["{state}", "{state}/*"],
    "nothing, terminals": ["/dev/null", "/dev/tty", "/dev/pts/*"],
    "semaphores": ["/dev/shm/*"],
    "a process's own": ["/proc/*"],
    "numba's cache": ["{code}/*/__pycache__/*.nb[ic]*", "{code}/*/__pycache__/tmp*", "{code}/*/__pycache__"],
    "dask's settings": ["{home}/.config", "{home}/.config/dask", "{home}/.config/dask/*"],
    "matplotlib's settings and cache": [
        *("{home}/.config/matplotlib", "{home}/.config/matplotlib/*"),
        *("{home}/.cache", "{home}/.cache/matplotlib", "{home}/.cache/matplotlib/*"),
    ],
    "fontconfig's cache": [
        "{home}/.cache/fontconfig",
        "{home}/.cache/fontconfig/*",
        "/var/cache/fontconfig/*",
    ],
    "the socket of the fork server, in a folder of mode 0700": ["{tmp}/pymp-*"],
    "an empty file by which Python finds the folder for temporary files": ["{tmp}/" + "[a-z0-9_]" * 8],
}
pytestmark = pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not installed")

_NAME = r'"((?:[^"\\]|\\.)*)"(?:\.\.\.)?'
_PLACE = re.compile(rf"(?:(?:AT_FDCWD|\d+)(?:<((?:[^>\\]|\\.)*)>)?, )?{_NAME}")
_LINE = re.compile(r"(\w+)\((.*)\) += (-?\d+)")


def touched(trace: Path) -> Iterator[tuple[str, str, str]]:
    """Every path of every call that succeeded: the call, its flags, the absolute path. The trace lies in the folder where the
    command ran; text that a call made a link of counts as a path too."""
    for file in trace.parent.glob(f"{trace.name}.*"):
        for line in file.read_text("utf-8", "surrogateescape").splitlines():
            found = _LINE.match(line)
            if not found or found[1] not in CALLS or found[3].startswith("-"):
                continue
            flags = "|".join(re.findall(r"\bO_\w+", found[2]))
            for folder, name in _PLACE.findall(found[2]):
                name = os.fsencode(name).decode("unicode_escape").encode("latin-1").decode("utf-8", "replace")
                yield found[1], flags, os.path.normpath(os.path.join(folder or trace.parent, name))


def changes(trace: Path) -> list[tuple[str, str]]:
    """Calls that make, change or take away something: the call and the path."""
    writing = re.compile(r"O_(WRONLY|RDWR|CREAT|TRUNC|APPEND)")
    return [(c, p) for c, flags, p in touched(trace) if c not in ("open", "openat") or writing.search(flags)]


def traced(trace: Path, room: Path, *arguments: object) -> subprocess.CompletedProcess[str]:
    """`rushlight` under strace, with a home, a state folder and a folder for temporary files of its own."""
    places = {name: room / name for name in ("home", "state", "tmp")}
    for place in places.values():
        place.mkdir(exist_ok=True)
    env = {k: v for k, v in os.environ.items() if not k.startswith(("XDG_", "MPL", "DASK", "NUMBA_CACHE"))}
    env |= {"HOME": str(places["home"]), "TMPDIR": str(places["tmp"]), "XDG_STATE_HOME": str(places["state"])}
    watch = [*WATCH, "-s", "4096", "-o", str(trace)]
    return subprocess.run(
        [*watch, *CALL, *map(str, arguments)],
        capture_output=True,
        text=True,
        timeout=900,
        cwd=room,
        env=env | {"PYTHONDONTWRITEBYTECODE": "1"},
    )


def outside(trace: Path, room: Path, out: Path) -> list[tuple[str, str]]:
    """What was changed and is not allowed to be."""
    words = {"home": room / "home", "state": room / "state" / "rushlight", "tmp": room / "tmp", "code": ROOT}
    patterns = [p.format(**words) for group in ALLOWED.values() for p in group]
    return [
        (call, path)
        for call, path in changes(trace)
        if path != str(out)
        and not path.startswith(f"{out}/")
        and not any(fnmatchcase(path, pattern) for pattern in patterns)
    ]


def hostile(out: Path, kept: Path) -> None:
    """An output folder as somebody else might hand it over: every record names `kept`, by one way or another."""
    info = kept.stat()
    names = [str(kept), f"../{kept.name}", f"editorial/../../{kept.name}"]
    for number, record in enumerate(latest(read_records(out)).values()):
        for entry in record["outputs"]:
            entry |= {"path": names[number % 3], "bytes": info.st_size, "mtime_ns": info.st_mtime_ns}
        append_record(out, record)
    requests = out / "log" / "inputs" / "requests.jsonl"
    said = json.loads(requests.read_text())
    for key, place in (("list", str(kept)), ("grades", [str(kept)])):
        with requests.open("a") as stream:
            stream.write(json.dumps(said | {key: place, "only": ["scene=1"]}) + "\n")
    movie, viewing = out / "editorial" / "A001C001.mov", out / "viewing" / "A001C001.mp4"
    for file in (movie, viewing, out / "report" / "index.html", *(out / "log" / "requests").glob("*.json")):
        file.unlink(missing_ok=True)
        file.symlink_to(kept)
    for of in (out / "log" / "inputs" / "looks").glob("*.of"):
        of.write_text(f"../../../../{kept.name}")
    for lattice in (out / "log" / "inputs" / "looks").glob("*.npy"):
        lattice.unlink()
        lattice.symlink_to(kept)


def test_nothing_is_written_outside(tmp_path: Path) -> None:
    day, out, room = small_day(tmp_path / "day", {"A001C001": 3, "A001C002": 3}), tmp_path / "out", tmp_path
    made = traced(
        room / "t1", room, "render", day, "--recipe", day.parent / "two.toml", "--out", out, "--workers", 1
    )
    assert made.returncode == 0, made.stderr
    assert outside(room / "t1", room, out) == []
    assert any(path == f"{out}/viewing/A001C002.mp4" for _, path in changes(room / "t1")), (
        "the trace is blind"
    )

    kept = tmp_path / "kept"
    kept.write_bytes(b"precious")
    os.utime(kept, ns=(10**18, 10**18))
    hostile(out, kept)
    again = traced(room / "t2", room, "render", "--from", out, "--replaced", "remove", "--workers", 1)
    assert again.returncode == 1 and again.stderr.count("not among what log/inputs keeps") == 2, again.stderr
    assert "jobs.jsonl:4: outputs[0].path" in again.stdout + again.stderr
    assert outside(room / "t2", room, out) == []
    assert [(c, f) for c, f, path in touched(room / "t2") if path == str(kept)] == []  # nor read
    assert kept.read_bytes() == b"precious" and kept.stat().st_mtime_ns == 10**18
    assert {r["status"] for r in latest(read_records(out)).values()} == {"done"}
    assert not (out / "editorial" / "A001C001.mov").is_symlink()


def test_the_trace_finds_what_it_should(tmp_path: Path) -> None:
    """Planted writes, of each kind, seen where they are."""
    (tmp_path / "out").mkdir()
    for name in ("new", "made", "old"):
        (tmp_path / name).write_text("")
    text = (
        "import os, sys; os.chdir(sys.argv[1]); d = os.open('out', os.O_RDONLY)\n"
        "open('new', 'w'); open('out/in', 'w'); os.open('../away', os.O_CREAT | os.O_WRONLY, dir_fd=d)\n"
        "os.link('made', 'linked'); os.rename('old', 'newer', src_dir_fd=None); os.unlink('linked')\n"
        "open('new').read(); os.mkdir('../dir', dir_fd=d); os.symlink('new', 'sy\\u00e4m')\n"
    )
    (tmp_path / "plant.py").write_text(text)
    watch = [*WATCH, "-o", str(tmp_path / "t")]
    subprocess.run([*watch, "python3", "-S", str(tmp_path / "plant.py"), str(tmp_path)], check=True)
    found = outside(tmp_path / "t", tmp_path, tmp_path / "out")
    names = {os.path.relpath(path, tmp_path) for _, path in found}
    assert names >= {"new", "away", "linked", "made", "old", "newer", "dir", "syäm"}
    assert "out/in" not in names
