"""Pictures on pages: made as a clip is finished, so that a report finds them; a cell of a contact sheet that is gone is drawn again."""

from pathlib import Path

import numpy as np
import pytest

from here import HereFarm, farm_here, run, small_day  # noqa: F401
from rushlight.batch.job_log import latest, read_records
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.report import page_pictures
from rushlight.batch.report.page_pictures import PICTURES, clip_pictures, pictures_there
from rushlight.batch.report.pages import write_report
from rushlight.batch.run import report_and_manifest
from rushlight.pipelines.outputs.stills import read_still, write_still

KINDS = (".jpg", "-strip.jpg", "-waveform.png", "-cell.png", "-small.jpg")
KINDS += tuple(f"-scopes-{which}.svg" for which in page_pictures.SCOPES)


def made(out: Path) -> list[str]:
    return sorted(path.name for path in (out / PICTURES).iterdir())


def test_a_report_finds_the_pictures_of_clips_that_were_finished(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    day, out = small_day(tmp_path / "day"), tmp_path / "out"
    seen: list[list[str]] = []
    report = report_and_manifest._report

    def looked(*given: object) -> None:
        seen.append(made(out))
        monkeypatch.setattr(page_pictures, "_make", None)  # whoever calls it now, fails
        report(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(report_and_manifest, "_report", looked)
    code, said = run("render", day, "--recipe", tmp_path / "day" / "two.toml", "--out", out)
    assert code == 0 and "fault" not in said, said
    assert seen == [made(out)] and len(seen[0]) == 2 * len(KINDS)
    page = (out / "report" / "index.html").read_text()
    assert (
        all(name in page for name in seen[0] if not name.endswith(("-cell.png", "-small.jpg")))
        and "ended with a fault" not in page
    )


def test_pictures_that_cannot_be_made_cost_no_clip_and_are_made_with_the_report(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    day, out = small_day(tmp_path / "day", {"A001C001": 2}), tmp_path / "out"
    with monkeypatch.context() as patch:
        patch.setattr(page_pictures, "_waveform", None)
        code, said = run("render", day, "--recipe", tmp_path / "day" / "two.toml", "--out", out)
    assert code == 0 and "delivered 1 clip" in said, said
    assert "ended with a fault" in (out / "report" / "index.html").read_text()
    write_report(out)
    assert len(made(out)) == len(KINDS)
    for path in (out / PICTURES).glob("*-cell.png"):
        path.write_bytes(b"no picture")
    before = read_still(out / "report" / "contact-1.png")
    write_report(out)
    after = read_still(out / "report" / "contact-1.png")
    assert after.shape == before.shape and np.abs(after - before).mean() < 0.01 and before.std() > 0.05


def test_codes_are_written_as_they_are_and_a_wide_still_is_read_thinned(tmp_path: Path) -> None:
    codes = np.random.default_rng(3).integers(0, 256, (20, 64, 3), np.uint8)
    write_still(tmp_path / "a.png", codes, "png8")
    assert np.array_equal(np.rint(read_still(tmp_path / "a.png") * 255), codes)
    assert np.array_equal(np.rint(read_still(tmp_path / "a.png", width=30) * 255), codes[::2, ::2])
    assert read_still(tmp_path / "a.png", width=100).shape == (20, 64, 3)


def test_a_small_picture_is_made_of_the_still_of_an_earlier_version(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    """It stands in a page beside 500 others, so its bytes count; the others are left as they are."""
    day, out = small_day(tmp_path / "day", {"A001C001": 2}), tmp_path / "out"
    assert run("render", day, "--recipe", tmp_path / "day" / "two.toml", "--out", out)[0] == 0
    (record,) = latest(read_records(out)).values()
    assert isinstance(record, DeliveredRecord)
    small = out / PICTURES / clip_pictures(out, record)["small"]
    others = {path: path.stat().st_mtime_ns for path in small.parent.iterdir() if path != small}
    assert small.stat().st_size < 3500
    small.unlink()
    assert pictures_there(out, record)["small"] == ""
    assert clip_pictures(out, record)["small"] == small.name
    assert {path: path.stat().st_mtime_ns for path in small.parent.iterdir() if path != small} == others
    assert small.stat().st_size < 3500 and read_still(small).shape == (72, 128, 3)
