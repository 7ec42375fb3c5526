"""The page opens from the disk: its links are relative, and lead to every file whatever it is called."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from urllib.parse import unquote

import pytest

from browsers import looks, stopped
from handed import deliver
from rushlight.batch.handover.hand_over import Asked, hand_over
from rushlight.batch.handover.page import link_to

NAMES = ("A001C001.mov", "a b#c?.mov", "50%.mov", "Szene é – 1.mov", "<i>.mov", "javascript:x.mov")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for number, name in enumerate(NAMES):
        deliver(tmp_path / "out", f"J{number}", {f"e d/{name}": name.encode()}, row={"scene": "<b>12</b>"})
    found = hand_over(Asked(out=tmp_path / "out", name="editor", to=tmp_path / "to")).folder
    assert found
    return found


def test_links(folder: Path) -> None:
    page = (folder / "index.html").read_text()
    links = re.findall(r'href="([^"]*)"', page)
    assert all(link.startswith("./") for link in links)
    led = {(folder / unquote(link)).relative_to(folder).as_posix() for link in links}
    there = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
    own = {"index.html", "letter.txt", "handover.json", *(n for n in there if n.startswith("ascmhl/"))}
    assert led == there - own
    assert "&lt;b&gt;12" in page and stopped(page) == []


def test_they_stay_right_where_it_is_copied_to(folder: Path, tmp_path: Path) -> None:
    """No path of this machine stands on it, nor in the letter."""
    copy = shutil.copytree(folder, tmp_path / "elsewhere")
    for name in ("index.html", "letter.txt", "handover.json"):
        assert str(tmp_path) not in (copy / name).read_text()


def test_a_name_that_looks_like_a_scheme() -> None:
    assert link_to("javascript:x.mov") == "./javascript%3Ax.mov"


@pytest.mark.slow
def test_a_browser_shows_it_from_the_disk(folder: Path, tmp_path: Path) -> None:
    shown = looks("chromium", tmp_path, (folder / "index.html").as_uri())
    assert shown.std() > 0.02
