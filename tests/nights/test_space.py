"""A night with revisions, handed over and cleared: everything after goes on as if the old files had never been missed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from here import HereFarm, farm_here, files, run, small_day, write_list  # noqa: F401
from logged import latest, read_records
from rushlight.batch.queue.locks import hold_folder

BOTH = ("editorial", "viewing")


@pytest.fixture
def day(tmp_path: Path, farm_here: HereFarm) -> Path:  # noqa: F811
    """A clip made four times, by four grades, after the second of which it was handed over, and one made once."""
    day = small_day(tmp_path / "day", {"A001C001": 2, "A001C002": 2})
    for number, slope in enumerate(("1", "1.2", "1.4", "1.6")):
        write_list(day, {"A001C001": graded(slope), "A001C002": {"scene": "5"}})
        code, said = run(*command(day))
        assert code == 0, said
        if number == 1:
            assert run("handover", tmp_path / "out", "--name", "editor")[0] == 0
    farm_here.calls.clear()
    return day


def graded(slope: str) -> dict[str, str]:
    return {"scene": "4", "slope": f"{slope} 1 1", "offset": "0 0 0", "power": "1 1 1"}


def command(day: Path) -> tuple[object, ...]:
    return ("render", day, "--recipe", day.parent / "two.toml", "--out", day.parent.parent / "out")


def test_after_clearing_all_goes_on(day: Path, farm_here: HereFarm) -> None:  # noqa: F811
    out = day.parent.parent / "out"
    before, log = files(out, *BOTH), (out / "log/jobs.jsonl").read_bytes()
    delivered = files(out.parent / "editor_001", *BOTH)
    measured = verdicts(out)
    code, said = run("space", out, "--keep-revisions", 0, "--remove")
    assert code == 0 and said.count("\ncleared  revisions/") == 4, said
    assert "stays 2 files" in " ".join(said.split())  # the second, which was handed over
    assert set(files(out, "revisions")) == {
        "revisions/2/editorial/A001C001.mov",
        "revisions/2/viewing/A001C001.mp4",
    }
    assert files(out, *BOTH) == before and (out / "log/jobs.jsonl").read_bytes() == log
    assert files(out.parent / "editor_001", *BOTH) == delivered
    assert run("check", out.parent / "editor_001")[0] == 0

    page = out / "report" / "index.html"
    for _ in range(2):  # as `space` made it, and `report`
        assert "was kept as revisions/3/viewing/A001C001.mp4, cleared on " in page.read_text()
        assert run("report", out)[0] == 0
    assert verdicts(out) == measured

    for words in (command(day), ("render", "--from", out)):
        code, said = run(*words)
        assert code == 0 and "2 clips made earlier and unchanged" in said and not farm_here.calls, said
    code, said = run("render", "--from", out, "--out", out.parent / "again")
    assert code == 0 and f"colour: 2 clips as in {out}, every frame to the last bit" in said, said
    assert files(out.parent / "again", *BOTH).keys() == before.keys()

    write_list(day, {"A001C001": graded("1.8"), "A001C002": {"scene": "5"}})
    assert run(*command(day))[0] == 0  # and a further revision is kept as ever
    assert "revisions/4/viewing/A001C001.mp4" in files(out, "revisions")
    assert latest(read_records(out))[name_of(out)]["revision"] == 5
    code, said = run("handover", out, "--name", "editor", "--copy")
    assert code == 0 and "2 changed" in " ".join(said.split()), said


def test_a_running_night_is_respected_and_nothing_goes(day: Path) -> None:
    out = day.parent.parent / "out"
    before = files(out, *BOTH, "revisions")
    with hold_folder(out):
        code, said = run("space", out, "--keep-revisions", 0, "--remove")
    assert code == 2 and "is being rendered into by" in said
    assert files(out, *BOTH, "revisions") == before and not (out / "log/cleared.jsonl").exists()


def verdicts(out: Path) -> list[object]:
    """What `verify` measures of each clip."""
    run("verify", out)
    return json.loads((out / "log" / "verify.json").read_text())["clips"]  # type: ignore[no-any-return]


def name_of(out: Path) -> str:
    return next(job for job in latest(read_records(out)) if job.startswith("A001C001"))
