"""Several output folders behind one address: a page that lists them, each below its name, and nothing of one through another."""

from __future__ import annotations

from pathlib import Path

import pytest

from browsers import stopped
from rushlight.batch.serve.night_hub import NightHub
from rushlight.batch.serve.nights import Nights
from viewer import MOVIE, TOKEN, night_in, served


@pytest.fixture
def outs(tmp_path: Path) -> list[Path]:
    for name, clips in (("overnight", 2), ("stills", 3)):
        (tmp_path / name).mkdir()
        night_in(tmp_path / name, clips)
    return [tmp_path / "overnight", tmp_path / "stills"]


def test_one_folder_stands_at_the_root(outs: list[Path]) -> None:
    nights = Nights([NightHub(outs[0])])
    assert nights.find(("report", "now.html")) == (nights.hubs[0], ("report", "now.html"))
    assert not nights.start(()) and nights.find(()) == (nights.hubs[0], ())


def test_several_are_listed_and_each_stands_below_its_name(outs: list[Path]) -> None:
    with served(*outs) as site:
        assert site.ask("/").headers["location"] == f"/{TOKEN}/start.html"
        page = site.ask("/start.html")
        text = page.body.decode()
        assert page.status == 200 and "The Lamp Room, day 12" in text and stopped(text) == []
        assert page.headers["content-security-policy"].endswith("frame-ancestors 'none'")
        assert [f'href="{name}/report/now.html"' in text for name in ("overnight", "stills")] == [True, True]
        assert TOKEN not in text and text.partition("<script")[0].count("delivered") == 2
        for name in ("overnight", "stills"):
            assert site.ask(f"/{name}").headers["location"] == f"/{TOKEN}/{name}/report/now.html"
        assert site.ask("/stills/report/now.html").body.count(b'<article class="take"') == 3
        assert site.ask("/stills/viewing/A2.mp4").body == MOVIE
        assert site.ask("/overnight/viewing/A2.mp4").status == 404  # delivered by the other one alone


def test_nothing_else_is_served(outs: list[Path]) -> None:
    (outs[0].parent / "day.toml").write_text("secret")
    with served(*outs) as site:
        for path in (
            "/day.toml",
            "/report/now.html",
            "/other",
            "/overnight/../stills/report/now.html",
            "/overnight/start.html",
        ):
            assert site.ask(path).status == 404, path
        assert site.ask("/start.html", token=False).status == 401


def test_who_needs_somebody_is_said_on_the_first_page(outs: list[Path]) -> None:
    night_in(outs[1], 3, needs=[{"what": "failed", "name": "A9.mov", "text": "it does not open"}])
    page = Nights([NightHub(out) for out in outs]).page().decode()
    assert page.count("1 needs you: open its page.") == 1
