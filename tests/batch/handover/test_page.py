"""The page opens from the disk: its links are relative, and lead to every file whatever it is called."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from urllib.parse import unquote, urlsplit

import numpy as np
import pytest

from browsers import stopped
from devtools import live_page
from handed import deliver
from rushlight.batch.handover.hand_over import Asked, hand_over
from rushlight.batch.handover.page import link_to
from rushlight.batch.job_log import latest, read_log
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.report import page_pictures
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.outputs.stills import write_still

NAMES = ("A001C001.mov", "a b#c?.mov", "50%.mov", "Szene é – 1.mov", "<i>.mov", "javascript:x.mov")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for number, name in enumerate(NAMES):
        deliver(tmp_path / "out", f"J{number}", {f"e d/{name}": name.encode()}, row={"scene": "<b>12</b>"})
    record = latest(read_log(tmp_path / "out").records)["J0"]
    assert isinstance(record, DeliveredRecord)
    name = page_pictures._names(record)["still"]
    picture = tmp_path / "out" / "report" / "pictures" / name
    picture.parent.mkdir(parents=True)
    write_still(picture, np.full((27, 48, 3), 0.5), "jpeg", display=find_display("sRGB"))
    found = hand_over(Asked(out=tmp_path / "out", name="editor", to=tmp_path / "to")).folder
    assert found
    return found


def test_links(folder: Path) -> None:
    page = (folder / "index.html").read_text()
    links = re.findall(r'href="([^"]*)"', page)
    assert all(link.startswith("./") for link in links)
    links += re.findall(r'src="([^"]*)"', page)
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


def test_in_a_browser_from_the_disk(folder: Path, tmp_path: Path) -> None:
    """Copied anywhere: each link is a file beside the page, and the picture shows."""
    place = shutil.copytree(folder, tmp_path / "a disk #2" / folder.name)
    with live_page(tmp_path / "profile") as page:
        page.open((place / "index.html").as_uri(), width=1200)
        links = page.value(
            "[...document.querySelectorAll('details')].forEach(d => d.open = true), [...document.links].map(a => a.href)"
        )
        assert len(links) > len(NAMES) and all(link.startswith("file:///") for link in links)
        led = [Path(unquote(urlsplit(link).path)) for link in links]
        assert all(path.is_file() and path.is_relative_to(place) for path in led)
        assert {path.name for path in led} >= set(NAMES)
        assert page.value("document.images.length") == 1
        page.value("document.images[0].scrollIntoView()")  # it is loaded once it is seen
        page.until("document.images[0].complete && document.images[0].naturalWidth == 48", 20)
        assert page.value("document.documentElement.scrollWidth <= innerWidth"), "nothing runs over the edge"
        assert not page.complaints
