"""Pages: escaped, complete, alone in their folder, and right in a real browser."""

import csv
import json
import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from command import rushlight
from rushlight.batch.pagepics import fitted
from rushlight.batch.records import append_record, latest, log_path, read_records
from rushlight.batch.report import write_report
from rushlight.pipelines.display import find_display
from rushlight.pipelines.errors import OptionError

SAMPLES = Path(__file__).resolve().parent.parent / "sample_frames"
HOSTILE = '<script>document.title="taken"</script>&<img src=x onerror=alert(1)>.mov'


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("report") / "out"
    run = rushlight("render", SAMPLES / "day.csv", "--recipe", "stills", "--out", folder, "--workers", 2)
    assert run.returncode == 0, run.stderr
    first = next(iter(latest(read_records(folder)).values()))
    append_record(
        folder,
        {
            **first,
            "job": "hostile",
            "clip": HOSTILE,
            "row": {
                "scene": "</h3><b>x",
                "note": "=1+1",
                "approved_by": "K. Lund",
                "approved_at": "2026-03-02",
            },
            "warnings": ["a <b>bold</b> warning"],
        },
    )
    append_record(
        folder,
        {
            "schema": "rushlight-job-1",
            "job": "row-1",
            "clip": "gone.mov",
            "status": "set aside",
            "error": "day.csv:9: <nothing>",
            "look": {},
            "outputs": [],
            "colour": {"digest": ""},
            "warnings": [],
        },
    )
    write_report(folder)
    return folder


def test_the_page_accounts_for_every_clip(out: Path) -> None:
    text = (out / "report" / "index.html").read_text()
    for words in (
        "A001C003.mov",
        "A001C007.mov",
        "B001C002",
        "gone.mov",
        "set aside",
        "matches the decision supplied",
        "proxies are no backup",
    ):
        assert words in text
    assert not re.search(r"approved(?! by| these)", text)
    assert (
        "<script>document" not in text
        and "<img src=x" not in text
        and "<b>bold" not in text
        and "</h3><b>x" not in text
    )
    assert not re.findall(r'(?:src|href)="(?:https?:)?//', text) and text.count("<script") == 1
    for picture in re.findall(r'src="([^"]+)"', text):
        assert (out / "report" / picture).stat().st_size > 1000


def test_pictures_curve_and_sheet(out: Path) -> None:
    from rushlight.pipelines.stills import read_still

    text = (out / "report" / "index.html").read_text()
    assert text.count("<polyline") % 3 == 0 and "<polyline" in text and "waveform.png" in text
    sheet = read_still(out / "report" / "contact-1.png")
    assert sheet.shape[1] == 5 * 208 and sheet.std() > 0.1
    assert "0.25 for editing movies" in text and "cannot tell" in text
    for left, wide in re.findall(r"left:([\d.]+)%;width:([\d.]+)%", text):
        assert 0 <= float(left) <= 100 and float(wide) > 0


def test_a_small_picture_keeps_its_shape_and_its_light() -> None:
    srgb = find_display("sRGB")
    small = fitted(np.full((300, 800, 3), 0.5), srgb, 480, 270)
    assert small.shape == (180, 480, 3) and np.allclose(small, 0.5, atol=1e-9)
    halves = np.zeros((100, 100, 3))
    halves[:, ::2] = 1
    assert np.allclose(fitted(halves, srgb, 50, 50), 0.735357, atol=1e-4)  # IEC 61966-2-1 of half the light


def test_data_for_scripts_and_spreadsheets(out: Path) -> None:
    document = json.loads((out / "report" / "batch.json").read_text())
    assert len(document["clips"]) == 5
    with (out / "report" / "batch.csv").open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert (
        [r["status"] for r in rows].count("done") == 4
        and rows[0]["colour_digest"].startswith("rushlight-colour-1:")
        and rows[0]["files"]
    )
    assert ("K. Lund", "2026-03-02") in {(r["approved_by"], r["approved_at"]) for r in rows}


def test_the_folder_moves(out: Path, tmp_path: Path) -> None:
    shutil.copytree(out, tmp_path / "elsewhere")
    shutil.rmtree(tmp_path / "elsewhere" / "report")
    run = rushlight("report", tmp_path / "elsewhere", "--json")
    assert run.returncode == 0 and Path(json.loads(run.stdout)["page"]).is_file()
    with pytest.raises(OptionError, match="nothing was rendered"):
        write_report(tmp_path)
    assert log_path(out).is_file()


def test_in_a_real_browser(out: Path, tmp_path: Path) -> None:
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if not chromium:
        pytest.skip("no chromium on this machine (Debian's package `chromium`)")
    flags = [
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--enable-logging=stderr",
        "--v=0",
    ]
    page = (out / "report" / "index.html").as_uri()
    run = subprocess.run(
        [chromium, *flags, f"--user-data-dir={tmp_path / 'profile'}", "--dump-dom", page],
        capture_output=True,
        text=True,
        timeout=90,
    )
    assert run.returncode == 0 and "<title>out</title>" in run.stdout
    assert "CONSOLE" not in run.stderr
    assert "&lt;script&gt;document.title" in run.stdout
