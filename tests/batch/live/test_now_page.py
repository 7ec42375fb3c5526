"""The page of a night: what it says in each phase, under 2 MB for 500 clips, and nothing on it that its policy would stop."""

import base64
import re
from pathlib import Path

import numpy as np
import pytest

from browsers import looks, stopped
from rushlight.batch.live.now_page import anchor, clip_part, href, now_page, top_part
from rushlight.batch.records.night_state import (
    NOW,
    CardNow,
    ClipReady,
    ClipRunning,
    ClipWaiting,
    FramesMade,
    NightCounts,
    NightState,
    PersonNeeded,
    ViewingCopy,
)
from rushlight.pipelines.outputs.stills import write_still


def ready(number: int, name: str = "") -> ClipReady:
    movies = [
        ViewingCopy(output="viewing", path=f"viewing/A{number}.mp4", width=1280, height=720, bytes=21_400_000, plays=True),
        ViewingCopy(output="editorial", path=f"editorial/A{number}.mov", width=1920, height=1080, bytes=9, plays=False),
    ]  # fmt: skip
    return ClipReady(
        job=f"A{number:03}-0123456789", clip=name or f"A001C{number:03}.mov", scene="24", take="3", circled=True,
        finished="2026-11-28T01:00:00+00:00", frames=480, rate="24", first_timecode="14:00:00:00", notes=["a note"],
        thumb=f"report/pictures/{number}-small.jpg", movies=movies,
    )  # fmt: skip


def night(clips: int = 2, **more: object) -> NightState:
    counts = NightCounts(
        listed=clips + 3, delivered=clips, running=1, waiting=1, held=0, set_aside=1, failed=0
    )
    values = {
        "schema": NOW, "title": "The Lamp Room, day 12", "written": "2026-11-28T01:12:31+00:00", "phase": "rendering",
        "ends": "2026-11-28T04:40:00+00:00", "counts": counts, "frames": FramesMade(made=300, of=900),
        "running": [ClipRunning(clip="A002C001.mov", frame=120, frames=480, percent=25)],
        "waiting": [ClipWaiting(clip="A002C002.mov", state="waiting")],
        "needs": [PersonNeeded(what="set aside", name="A009.mov", text="nobody states its encoding")],
        "ready": [ready(n) for n in range(clips)],
    }  # fmt: skip
    return NightState.model_validate(values | more)


def shown(state: NightState, **more: object) -> str:
    return now_page(state, picture=lambda path: "data:image/jpeg;base64,AAAA", **more)  # type: ignore[arg-type]


def words(page: str) -> str:
    text = re.sub(r"<(style|script)>.*?</\1>", "", page, flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]*>", " ", text).split())


def test_a_reader_without_script_has_it_all() -> None:
    text = words(shown(night(), report=True))
    for said in (
        "The Lamp Room, day 12 ", " Rendering ", "300 of 900 frames", "all is made at about 04:40", "listed 5 delivered 2",
        "set aside A009.mov : nobody states its encoding", "A002C001.mov frame 120 of 480, 25 %", "A002C002.mov",
        "A001C001.mov · circled", "scene 24, take 3 · 14:00:00:00", "play viewing, 21.4 MB", "Written at", "nothing runs any more",
    ):  # fmt: skip
        assert said in text, said


def test_it_is_loaded_again_until_it_is_over() -> None:
    assert '<meta http-equiv="refresh" content="15">' in shown(night())
    over = night(phase="over", running=[], ends="", counts=NightCounts(listed=4, delivered=2, running=0, waiting=1, held=0, set_aside=1, failed=0))  # fmt: skip
    page = shown(over)
    assert "refresh" not in page and "The night is over" in page
    assert "4 clips listed = 2 delivered + 1 set aside + 0 failed + 1 not made yet" in page
    assert "Nothing runs any more" in page and "not made yet 1" in words(page)


def test_served_it_follows_events_and_is_loaded_again_only_without_script() -> None:
    page = shown(night(), live="x-1")
    assert (
        '<noscript><meta http-equiv="refresh" content="15"></noscript>' in page and 'data-live="x-1"' in page
    )
    assert page.count("http-equiv=") == 2


@pytest.mark.parametrize("live", ["", "x-1"])
def test_its_policy_stops_nothing_of_it(live: str) -> None:
    assert stopped(shown(night(), live=live, report=True)) == []


def test_hostile_names_are_text() -> None:
    name = "<img src=x onerror=alert(1)>\u202e\x1b"
    state = night(
        title=name, text=name, ready=[ready(1, name)], cards=[CardNow(name=name, state="gone", text=name)]
    )
    for part in (shown(state), top_part(state, quiet=name), clip_part(ready(1, name), "x.jpg")):
        assert "<img src=x" not in part and "\u202e" not in part and "\x1b" not in part


def test_500_clips_with_heavy_pictures_stay_under_2_mb_and_the_newest_have_theirs() -> None:
    page = now_page(night(500), picture=lambda path: "data:image/jpeg;base64," + "A" * 6000)
    assert 1_400_000 < len(page.encode()) < 2_000_000
    seen = re.findall(r'<img src="(data:)?', page)
    assert 150 < len(seen) < 500 and all(seen)
    assert page.index("A001C000.mov") < page.index("<img") < page.index("no picture here")
    light = now_page(night(500), picture=lambda path: "data:image/jpeg;base64," + "A" * 2100)
    assert light.count("<img") == 500 and len(light) < 2_000_000


def test_a_night_that_seems_dead_says_so() -> None:
    assert "nothing since 03:12" in top_part(night(), quiet="nothing since 03:12")


@pytest.mark.parametrize(
    ("path", "address"),
    [
        ("viewing/A 1#?.mp4", "../viewing/A%201%23%3F.mp4"),
        ("viewing/\udcff.mp4", "../viewing/%FF.mp4"),
        ("viewing/é.mp4", "../viewing/%C3%A9.mp4"),
    ],
)
def test_addresses_hold_every_byte_of_a_name(path: str, address: str) -> None:
    assert href(path) == address


def test_an_anchor_is_plain() -> None:
    assert anchor("A001 ü-01") == "clip-A001---01"


def test_its_pictures_show_from_the_disk(tmp_path: Path) -> None:
    red = np.zeros((90, 160, 3))
    red[..., 0] = 1.0
    write_still(tmp_path / "red.jpg", red, "jpeg", quality=55)
    data = base64.b64encode((tmp_path / "red.jpg").read_bytes()).decode()
    over = night(phase="over", running=[], waiting=[], needs=[])
    page = now_page(over, picture=lambda path: f"data:image/jpeg;base64,{data}", report=True)
    (tmp_path / "now.html").write_text(page)
    seen = looks("chromium", tmp_path, (tmp_path / "now.html").as_uri())
    assert ((seen > 0.8) == (True, False, False)).all(-1).sum() > 2 * 150 * 80
