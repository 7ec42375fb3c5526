"""The start on a system that is not supported, as Windows would have it: without the modules that only Unix has."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

import rushlight
from rushlight.batch import exit_codes

UNIX = ("fcntl", "grp", "pwd", "resource", "termios", "tty", "pty", "syslog", "_posixsubprocess")
WINDOWS = f"""
import sys
for name in {UNIX!r}:
    sys.modules[name] = None  # importing it is an ImportError
sys.platform = {{platform!r}}
"""


def python(code: str, platform: str = "win32") -> subprocess.CompletedProcess[str]:
    words = [sys.executable, "-c", WINDOWS.format(platform=platform) + code]
    return subprocess.run(words, capture_output=True, text=True)


LINUX = {
    "memfd_create", "posix_fadvise", "posix_fallocate", "sched_getaffinity", "sched_setaffinity", "copy_file_range", "splice",
    "O_TMPFILE", "O_PATH", "O_DIRECT", "O_NOATIME", "eventfd", "pidfd_open", "getxattr", "setxattr", "listxattr",
}  # fmt: skip
GUARDS = ("hasattr(os,", "AttributeError", "getattr(os,")


def test_what_only_linux_has_is_asked_for_before_it_is_used() -> None:
    """macOS by rule: no such name of `os` without a question, no module that it lacks, no path of /proc but where its absence is met."""
    root, met = (
        Path(__file__).resolve().parents[3],
        (
            "batch/disks.py",
            "batch/doctor/graphics_card.py",
            "pipelines/outputs/stills.py",
        ),
    )
    for path in sorted(p for top in ("batch", "pipelines") for p in (root / top).rglob("*.py")):
        text, place = path.read_text(), path.relative_to(root).as_posix()
        used = {n.attr for n in ast.walk(ast.parse(text)) if isinstance(n, ast.Attribute) and n.attr in LINUX}
        assert not used or any(guard in text for guard in GUARDS), f"{place}: {used}"
        assert "/proc/" not in text or place in met, place
        assert not re.search(r"fc-(list|match)|fontconfig|get_context\(.fork.\)|os\.fork\(", text), place


@pytest.mark.parametrize("platform", ["win32", "cygwin"])
@pytest.mark.parametrize("words", [[], ["--help"], ["render", "day.csv", "--out", "out"]])
def test_windows_is_said_not_to_be_supported(platform: str, words: list[str]) -> None:
    done = python(
        f"sys.argv[1:] = {words!r}\nfrom rushlight.batch.cli.start import main\nmain()", platform=platform
    )
    assert (done.returncode, done.stdout) == (exit_codes.WRONG, "")
    assert done.stderr == (
        "rushlight: Windows is not supported, and nothing was done; run it on Linux (macOS is untried)\n"
    )


def test_a_script_there_is_told_by_the_import_of_a_command() -> None:
    done = python("import rushlight\ntry:\n    rushlight.render\nexcept ImportError as e:\n    print(e)")
    assert done.returncode == 0, done.stderr
    assert done.stdout == "rushlight does not support Windows; run it on Linux (macOS is untried)\n"


def test_the_script_is_the_one_that_asks_first() -> None:
    project = Path(__file__).resolve().parents[3] / "pyproject.toml"
    assert 'rushlight = "rushlight.batch.cli.start:main"' in project.read_text()
    assert "render" in dir(rushlight)
