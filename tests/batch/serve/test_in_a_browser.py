"""The served page in a real browser: it follows the night by itself, plays, keeps what is open, and its policy stops nothing."""

from pathlib import Path

import numpy as np
import pytest

from devtools import LivePage, live_page
from pictures import frame_of, write_movie
from rushlight.batch.records.night_state import ClipWaiting, NightCounts, PersonNeeded
from rushlight.batch.serve import night_hub
from viewer import TOKEN, night_in, served

SUMS = {"running": 0, "held": 0, "set_aside": 0, "failed": 0}
WAITING = [ClipWaiting(clip=f"B{n}.mov", state="waiting") for n in range(3)]


def movie(out: Path) -> None:
    grey = np.ones((90, 160), np.uint8)
    frame = frame_of("yuv420p", grey * 120, grey[::2, ::2] * 90, grey[::2, ::2] * 160)
    write_movie(out / "viewing" / "A1.mp4", [frame] * 24, codec="libx264", timecode="")


def fits(page: LivePage) -> bool:
    """Nothing is wider than the screen."""
    return bool(page.value("document.documentElement.scrollWidth <= innerWidth"))


@pytest.mark.parametrize("width", [390, 1280])
def test_a_page_follows_its_night(width: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(night_hub, "LOOK", 0.05)
    out = tmp_path / "out"
    (out / "viewing").mkdir(parents=True)
    movie(out)
    night_in(out, 2, waiting=WAITING, needs=[PersonNeeded(what="failed", name="x" * 200, text="y" * 300)])
    with served(out) as site, live_page(tmp_path / "profile") as page:
        page.open(f"http://127.0.0.1:{site.server.port}/{TOKEN}/", width=width)
        assert page.value("document.title") == "The Lamp Room, day 12" and fits(page)
        assert page.value("[...document.querySelectorAll('#ready h3')].map(h => h.textContent)") == [
            "A1.mov",
            "A0.mov",
        ]
        page.value("document.getElementById('waiting').open = true")
        page.until("document.querySelector('.takes img').complete")

        page.value("document.querySelector('#clip-A1-0123456789 a.play').click()")
        page.until("document.querySelector('video')?.readyState >= 2")  # it has pictures
        assert page.value("document.activeElement.localName") == "video"

        counts = NightCounts(listed=6, delivered=3, waiting=3, **SUMS)
        night_in(out, 3, waiting=WAITING, counts=counts)
        page.until("document.querySelectorAll('#ready article').length === 3")
        assert page.value("document.querySelector('#ready h3').textContent") == "A2.mov"
        page.until("!document.getElementById('top').textContent.includes('Needs you')")
        assert page.value("document.getElementById('waiting').open") is True
        assert page.value("document.querySelector('video').readyState") >= 2  # it plays on

        night_in(out, 3, phase="over", counts=NightCounts(listed=3, delivered=3, waiting=0, **SUMS))
        page.until("document.querySelector('.phase').textContent === 'The night is over'")
        assert fits(page) and page.complaints == []


def test_a_page_says_when_it_has_lost_its_server_and_finds_it_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out"
    out.mkdir()
    night_in(out)
    with live_page(tmp_path / "profile") as page:
        with served(out) as site:
            page.open(f"http://127.0.0.1:{site.server.port}/{TOKEN}/", width=390)
            page.until("document.querySelector('main').dataset.live.length > 3")
        page.until("document.getElementById('link').textContent.startsWith('No connection since')")
        assert fits(page)
        night_in(out, 3)
        with served(out, port=site.server.port):  # started again: its numbers are others
            page.until("document.querySelectorAll('#ready article').length === 3")
            assert page.value("document.getElementById('link').textContent") == ""


def test_without_a_script_it_can_be_read(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    night_in(out)
    with served(out) as site, live_page(tmp_path / "profile") as page:
        page.call("Emulation.setScriptExecutionDisabled", value=True)
        page.open(f"http://127.0.0.1:{site.server.port}/{TOKEN}/", width=390, dark=True)
        assert page.value("document.querySelector('noscript > meta[http-equiv=refresh]').content") == "15"
        assert (
            page.value("document.querySelector('#clip-A1-0123456789 a.play').getAttribute('href')")
            == "../viewing/A1.mp4"
        )
        assert page.value("getComputedStyle(document.body).backgroundColor") == "rgb(22, 24, 27)"
