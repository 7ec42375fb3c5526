"""Text files: one limit, two encodings, and nothing that can hang or fill the memory."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from command import rushlight
from rushlight.pipelines.errors import GradeError, ListError
from rushlight.pipelines.text_files import MAX_BYTES, read_text


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_marks_of_byte_order_are_taken(tmp_path: Path, encoding: str) -> None:
    text = "clip\tnote\nA001C001\tgrüße 名前\n"
    given = "\ufeff" + text if encoding.endswith(("le", "be")) else text
    (tmp_path / "day.tsv").write_bytes(given.encode(encoding))
    assert read_text(tmp_path / "day.tsv", ListError) == text


@pytest.mark.parametrize(
    ("data", "says", "line"),
    [
        (b"clip\nA\xff\n", "not UTF-8 text .byte 6.", None),
        (b"\xff\xfea", "not UTF-16", None),
        (b"a\nb\0c\n", "NUL byte", 2),
    ],
)
def test_what_is_no_text(tmp_path: Path, data: bytes, says: str, line: int | None) -> None:
    path = tmp_path / "day.csv"
    path.write_bytes(data)
    with pytest.raises(GradeError, match=says) as caught:
        read_text(path, GradeError)
    assert caught.value.file == str(path) and caught.value.line == line


def test_no_file_a_folder_and_a_name_that_is_none(tmp_path: Path) -> None:
    for path in (tmp_path / "none.csv", tmp_path, tmp_path / "a\0b"):
        with pytest.raises(ListError, match="cannot be read"):
            read_text(path, ListError)


@pytest.mark.parametrize("name", ["/dev/zero", "pipe"])
def test_a_pipe_or_a_device_is_refused(tmp_path: Path, name: str) -> None:
    """Such as have no end, and such as nobody writes to."""
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(ListError, match="a pipe or a device; a file is needed"):
        read_text(tmp_path / name, ListError)


@pytest.mark.parametrize("what", ["list", "--grades"])
def test_a_pipe_is_refused_by_a_command(tmp_path: Path, what: str) -> None:
    for name in ("pipe.csv", "g.ccc"):
        os.mkfifo(tmp_path / name)
    (tmp_path / "day.csv").write_text("clip,encoding\nA.mov,LogC3\n")
    words = ["pipe.csv"] if what == "list" else ["day.csv", "--grades", "g.ccc"]
    run = rushlight("plan", *words, cwd=tmp_path, timeout=60)
    assert run.returncode == 2 and "a pipe or a device; a file is needed" in run.stdout + run.stderr


# Each hostile file as `--grades` or list of a real command, with its memory limited: one clear line, exit code 2.
HOSTILE = """
import resource, sys
resource.setrlimit(resource.RLIMIT_AS, (1_500_000_000, 1_500_000_000))
sys.argv = ["rushlight", "plan", *sys.argv[1:]]
from rushlight.batch.cli.main import main
main()
"""


NAMES = ("day.csv", "day.edl", "day.otio", "g.csv", "g.edl", "g.ccc", "d.toml", "r.toml")
KINDS = {
    "one line of 1 GB": b"",
    "60 MB of brackets": b"[{(<",
    "60 MB of short lines": b"ab\n",
    "60 MB of elements": b"<a/>",
}
USUAL = [
    "day.csv: one line of 1 GB",
    "g.ccc: 60 MB of elements",
    "day.otio: 60 MB of brackets",
    "day.edl: 60 MB of short lines",
]


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        pytest.param(n, k, marks=[] if f"{n}: {k}" in USUAL else [pytest.mark.slow])
        for n in NAMES
        for k in KINDS
        if k != "60 MB of elements" or n == "g.ccc"
    ],
)
def test_hostile_files_cost_seconds_and_bounded_memory(tmp_path: Path, name: str, kind: str) -> None:
    path = tmp_path / name
    with path.open("wb") as stream:
        if unit := KINDS[kind]:
            stream.write(
                b"<a>" * (unit == b"<a/>") + unit * (MAX_BYTES // 5 if len(unit) > 3 else MAX_BYTES // 4)
            )
        else:
            stream.truncate(1_000_000_000)  # sparse: no disk is taken
    (tmp_path / "list.csv").write_text("clip,encoding\nnone.mov,LogC3\n")
    call = {
        "g": ["list.csv", "--grades", name],
        "d": ["list.csv", "--defaults", name],
        "r": ["list.csv", "--recipe", name],
    }
    run = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", HOSTILE, *call.get(path.stem, [name])],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert run.returncode == 2, run.stderr[-500:]
    said = run.stderr.removeprefix("rushlight: ") or run.stdout.removeprefix("REFUSED  ")
    assert said.startswith(name) and len(run.stderr) < 500, run.stderr[-500:]
