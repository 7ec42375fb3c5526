"""Pictures on pages: made as a clip is finished, so that a report finds them; a cell of a contact sheet that is gone is drawn again."""

from pathlib import Path

import numpy as np
import pytest

from here import HereFarm, farm_here, run, small_day  # noqa: F401
from recorded import movie, recorded
from rushlight.batch.job_log import latest, read_records
from rushlight.batch.records.job_record import DeliveredRecord, read_record
from rushlight.batch.report import page_pictures
from rushlight.batch.report.page_pictures import PICTURES, clip_pictures, pictures_there, sheet_lines
from rushlight.batch.report.pages import write_report
from rushlight.batch.run import report_and_manifest
from rushlight.pipelines.outputs.stills import read_still, write_still

KINDS = (".jpg", "-before.jpg", "-strip.jpg", "-waveform.png", "-cell.png", "-small.jpg")
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
    assert len(made(out)) == len(KINDS)  # the log picture, which a report cannot make, was left by the first
    for path in (out / PICTURES).glob("*-cell.png"):
        path.write_bytes(b"no picture")
    before = read_still(out / "report" / "contact-1.png")
    write_report(out)
    after = read_still(out / "report" / "contact-1.png")
    assert after.shape == before.shape and np.abs(after - before).mean() < 0.01 and before.std() > 0.05


def test_a_report_beside_a_night_writes_a_picture_of_the_same_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write, begun = page_pictures.write_still, []

    def while_another_writes(path: Path, rgb: page_pictures.Array, *given: object, **named: object) -> None:
        begun.append(path)
        if len(begun) == 1:
            page_pictures._write(tmp_path, "report/pictures/a.png", np.ones((4, 4, 3)), "png8")
        assert path.exists()  # nobody took it away
        write(path, rgb, *given, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(page_pictures, "write_still", while_another_writes)
    page_pictures._write(tmp_path, "report/pictures/a.png", np.zeros((4, 4, 3)), "png8")
    assert len(set(begun)) == 2 and made(tmp_path) == ["a.png"]
    assert not read_still(tmp_path / PICTURES / "a.png").any()


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


def test_a_contact_sheet_says_scene_take_timecode_grade_and_day() -> None:
    look = {"digest": "d", "description": "x", "layers": []}
    grade: dict[str, object] = {
        "slope": [1.0] * 3,
        "offset": [0.0] * 3,
        "power": [1.0] * 3,
        "saturation": 1.0,
    }
    grade |= {"source": "grades/garden.cdl#12A_3", "reason": "the row names it"}
    row = {"scene": "12A", "take": "3", "circled": "yes", "day": "day 2"}

    def lines(**given: object) -> tuple[str, ...]:
        record = read_record(recorded("A001C001", movie(), **given))
        assert isinstance(record, DeliveredRecord)
        return sheet_lines(record)

    assert lines(row=row, look={**look, "grade": grade}) == (
        "A001C001",
        "scene 12A, take 3, circled",
        "01:00:00:00, day 2",
        "garden.cdl#12A_3",
    )
    assert lines(look={**look, "grade": None})[1:] == ("no scene", "01:00:00:00", "ungraded")


def test_words_under_a_picture_never_leave_their_cell() -> None:
    short, long = (page_pictures._words([text], 208, 64, letters=12) for text in ("A", "W" * 90))
    assert short.shape == long.shape == (64, 208, 3)
    assert long[:, :8].min() == long[:, 202:].min() == 255 and long.mean() < short.mean() < 255


def test_a_cell_whose_words_changed_is_drawn_again(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    day, out = small_day(tmp_path / "day", {"A001C001": 2}), tmp_path / "out"
    assert run("render", day, "--recipe", tmp_path / "day" / "two.toml", "--out", out)[0] == 0
    (record,) = latest(read_records(out)).values()
    assert isinstance(record, DeliveredRecord)
    before = clip_pictures(out, record)
    named = record.model_copy(update={"row": {"scene": "12A", "take": "3"}})
    after = clip_pictures(out, named)
    assert before["cell"] != after["cell"] and before["still"] == after["still"]
    one, other = (read_still(out / PICTURES / each["cell"]) for each in (before, after))
    assert one.shape == other.shape and not np.array_equal(one[124:], other[124:])
    assert np.abs(one[8:116] - other[8:116]).max() < 0.1  # drawn of the still's file
