"""Pages: escaped, complete, alone in their folder, and right in a real browser."""

import base64
import csv
import hashlib
import html
import json
import os
import re
import shutil
import subprocess
import time
from dataclasses import replace
from pathlib import Path
from urllib.parse import unquote

import numpy as np
import pytest

from browsers import chromium, stopped
from budget import seconds
from here import rushlight
from logged import append_record, latest, read_records
from recorded import movie, recorded
from rushlight.batch.job_log import log_path
from rushlight.batch.plan.reconcile_media import Walk
from rushlight.batch.plan.request_ledger import keep_asking, read_askings
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.report.page_pictures import PICTURES, Pictures, fitted
from rushlight.batch.report.pages import write_report
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.recipe.read_recipe import shipped_recipes

SAMPLES = Path(__file__).resolve().parents[3] / "sample_frames"
HOSTILE = '<script>document.title="taken"</script>&<img src=x onerror=alert(1)>.mov'


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("report") / "out"
    recipe = folder.parent / "half.toml"
    recipe.write_text(shipped_recipes()["stills"].replace("1920x1080", "960x540"))
    run = rushlight("render", SAMPLES / "day.csv", "--recipe", recipe, "--out", folder)
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
            "source": {
                **first["source"],
                "header": {"com.apple.quicktime.model": "H7<b>old</b>", "own": "as it is"},
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
    assert "its header (model)" in text and "<td>own</td>" in text and "as it is" in text
    assert not re.search(r"approved(?! by| these)", text)
    assert (
        "<script>document" not in text
        and "<img src=x" not in text
        and "<b>bold" not in text
        and "</h3><b>x" not in text
        and "H7<b>" not in text
    )
    assert not re.findall(r'(?:src|href)="(?:https?:)?//', text) and text.count("<script") == 1
    assert stopped(text) == []
    for picture in re.findall(r'src="([^"]+)"', text):
        assert (out / "report" / picture).stat().st_size > 1000


def test_the_camera_report_has_every_clip_and_what_it_says_is_escaped(out: Path) -> None:
    page = (out / "report" / "cameras.html").read_text()
    with (out / "report" / "cameras.csv").open(newline="", encoding="utf-8") as stream:
        rows = {row["clip"]: row for row in csv.DictReader(stream)}
    assert {"A001C003.mov", "A001C007.mov", "gone.mov", HOSTILE} <= rows.keys()
    assert rows["gone.mov"]["status"] == "set aside"
    assert (
        rows[HOSTILE]["camera_model"] == "H7<b>old</b>" and "H7&lt;b&gt;old" in page and "<b>old" not in page
    )
    assert rows[HOSTILE]["said_by"] == "camera_model: its header (com.apple.quicktime.model)"
    assert stopped(page) == [] and "proxies are no backup" in page
    assert 'href="cameras.html"' in (out / "report" / "index.html").read_text()


def test_pictures_curve_and_sheet(out: Path) -> None:
    from rushlight.pipelines.outputs.stills import read_still

    text = (out / "report" / "index.html").read_text()
    assert (
        "whole look on greys" in text
        and text.count("<polyline") % 3 == 0
        and "<polyline" in text
        and "waveform.png" in text
    )
    sheet = read_still(out / "report" / "contact-1.png")
    assert sheet.shape[1] == 5 * 208 and sheet.std() > 0.1
    assert "0.6 for editing movies" in text and "cannot tell" in text
    spans = re.findall(r'<rect x="([\d.]+)" width="([\d.]+)"', text)
    assert len(spans) == 4
    for left, wide in spans:
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


def with_script(out: Path, to: Path, script: str) -> str:
    """A copy of the report whose page runs `script` once it has loaded; gives its address."""
    shutil.copytree(out / "report", to)
    page = to / "index.html"
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    allowed = page.read_text().replace("script-src", f"script-src &#39;sha256-{digest}&#39;")
    page.write_text(allowed.replace("</body>", f"<script>{script}</script></body>"))
    return page.as_uri()


def test_in_a_real_browser(out: Path, tmp_path: Path) -> None:
    page = (out / "report" / "index.html").as_uri()
    run = chromium(tmp_path / "profile", "--dump-dom", page)
    assert "<title>out</title>" in run.stdout  # the hostile clip's script did not run
    assert "&lt;script&gt;document.title" in run.stdout


def test_sorting_pictures_and_panels_in_a_real_browser(out: Path, tmp_path: Path) -> None:
    script = """
      const table = document.querySelector("table.sortable");
      const column = k => [...table.tBodies[0].rows].map(r => r.cells[k].textContent);
      const heads = [...table.tHead.rows[0].cells], said = {};
      for (const name of ["frames", "clip"]) {
        const head = heads.find(h => h.textContent === name), k = heads.indexOf(head);
        head.querySelector("button").click(); said[name + " up"] = [column(k), head.getAttribute("aria-sort")];
        head.querySelector("button").click(); said[name + " down"] = [column(k), head.getAttribute("aria-sort")];
      }
      document.querySelector("table.sortable a").click();
      Promise.all([...document.images].map(i => { i.loading = "eager"; return i.decode().then(() => 1, () => 0); }))
        .then(n => { said.images = n; said.buttons = document.querySelectorAll("button:not([type=button])").length;
          said.unnamed = [...document.querySelectorAll("img:not([alt]), svg:not([aria-label])")].length;
          said.wide = document.documentElement.scrollWidth <= innerWidth;
          setTimeout(() => { said.open = document.querySelectorAll("details[open]").length;
            const p = document.createElement("pre"); p.id = "said"; p.textContent = JSON.stringify(said); document.body.append(p); }, 50); });
    """
    address = with_script(out, tmp_path / "copy", script)
    found: list[str] = []
    for turn in range(3):  # on a busy machine the page may be given before its pictures are there
        run = chromium(tmp_path / f"profile{turn}", "--virtual-time-budget=20000", "--dump-dom", address)
        if found := re.findall(r'<pre id="said">(.*)</pre>', run.stdout):
            break
    said = json.loads(html.unescape(found[0]))
    frames = [int(n) for n in said["frames up"][0]]
    assert frames == sorted(frames) and said["frames up"][1] == "ascending"
    assert [int(n) for n in said["frames down"][0]] == frames[::-1] and said["frames down"][1] == "descending"
    names = said["clip up"][0]
    assert HOSTILE in names and said["clip down"][0] == names[::-1]
    assert len(said["images"]) >= 8 and all(said["images"])
    assert said["buttons"] == said["unnamed"] == 0 and said["wide"]
    assert said["open"] == 1  # following a link opens the clip's panel


def test_filters_player_and_links_in_a_real_browser(out: Path, tmp_path: Path) -> None:
    """From the disk, at a phone's width: what is shown can be narrowed, every link leads somewhere, nothing is wider than the page."""
    script = """
      const said = {}, day = document.getElementById("day"), takes = () => day.querySelectorAll(".take:not([hidden])").length;
      const pick = (name, value) => { const s = [...day.querySelectorAll(".filters label")].find(l => l.textContent.startsWith(name)).querySelector("select"); s.value = value; s.dispatchEvent(new Event("change")); };
      said.all = takes(); pick("scene", "12A"); said.scene = takes(); said.scenes = day.querySelectorAll(".scene:not([hidden])").length;
      said.status = day.querySelector("[role=status]").textContent; pick("scene", ""); pick("camera", "B"); said.camera = takes(); pick("camera", "");
      const box = day.querySelector(".filters input"); box.click(); said.circled = takes(); box.click(); said.again = takes();
      const lost = [...day.querySelectorAll(".filters label")].find(l => l.textContent === "not delivered").querySelector("input");
      lost.click(); said.lost = [...day.querySelectorAll(".take:not([hidden]) h4")].map(h => h.textContent); lost.click();
      said.links = [...document.querySelectorAll("a[href]")].map(a => a.getAttribute("href"));
      said.wide = document.documentElement.scrollWidth <= innerWidth; said.width = innerWidth;
      const p = document.createElement("pre"); p.id = "said"; p.textContent = JSON.stringify(said); document.body.append(p);
    """
    address = with_script(out, tmp_path / "copy", script)
    run = chromium(tmp_path / "profile", "--window-size=500,900", "--dump-dom", address)
    (found,) = re.findall(r'<pre id="said">(.*)</pre>', run.stdout)
    said = json.loads(html.unescape(found))
    assert (said["all"], said["scene"], said["scenes"], said["camera"], said["again"]) == (5, 1, 1, 1, 5)
    assert said["lost"] == ["gone.mov"]
    assert said["status"] == "1 of 5 clips" and said["circled"] == 2 and said["wide"] and said["width"] <= 500
    page = (out / "report" / "index.html").read_text()
    for link in said["links"]:
        if link.startswith("#"):
            assert f'id="{html.escape(link[1:])}"' in page, link
        elif "://" not in link:
            assert (out / "report" / unquote(link)).exists(), link


def test_a_printed_page_has_four_clips_a_page(out: Path, tmp_path: Path) -> None:
    pdf = tmp_path / "page.pdf"
    page = (out / "report" / "index.html").as_uri()
    chromium(tmp_path / "profile", "--no-pdf-header-footer", f"--print-to-pdf={pdf}", page)
    reader = shutil.which("pdftotext")
    assert pdf.read_bytes().startswith(b"%PDF") and pdf.stat().st_size > 30_000
    if not reader:
        pytest.skip("no pdftotext on this machine (Debian's package `poppler-utils`)")
    text = subprocess.run(
        [reader, "-layout", str(pdf), "-"], capture_output=True, text=True, check=True
    ).stdout
    assert "colour checksum" not in text, "a clip's panel is printed where somebody has opened it"
    first, second, *_ = text.split("\f")
    assert "5 listed = 4 delivered" in first and "set aside: day.csv:9" in " ".join(first.split())
    assert second.count("matches the decision supplied") == 4, "four clips a page"


@pytest.mark.parametrize("clips", [80, pytest.param(500, marks=pytest.mark.slow)])
def test_a_big_day(clips: int, out: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It stays small enough to open. Measured of 500: 2.5 MB, 2.7 s of processor time in a headless browser."""
    folder = tmp_path / "big"
    (folder / "report" / "pictures").mkdir(parents=True)
    (record, *_) = latest(read_records(out)).values()
    lines = [
        json.dumps(
            {
                **record,
                "job": f"c{k}",
                "clip": f"A{k // 50:03}C{k % 50:03}.mov",
                "row": {"scene": str(k // 7)},
            }
        )
        for k in range(clips)
    ]
    (folder / "log").mkdir()
    log_path(folder).write_text("\n".join(lines) + "\n")
    pictures = sorted((out / "report" / "pictures").glob("*.jpg"))

    def same(folder: Path, record: DeliveredRecord) -> Pictures:
        shutil.copy(pictures[0], folder / PICTURES / f"{record.job}.jpg")
        return Pictures(still=f"{record.job}.jpg", strip="", waveform=f"{record.job}.jpg", cell="")

    monkeypatch.setattr("rushlight.batch.report.page_clip.clip_pictures", same)
    page = write_report(folder)
    assert page.stat().st_size < 10_000 * clips
    assert len(list((folder / "report").glob("contact-*.png"))) == -(-clips // 40)
    begin = seconds()
    run = chromium(tmp_path / "profile", "--dump-dom", page.as_uri())
    assert run.stdout.count("<details") == clips
    assert seconds() - begin < 60


def test_originals_counted_and_verdicts_shown(out: Path, tmp_path: Path) -> None:
    folder = tmp_path / "out"
    shutil.copytree(out, folder)
    text = (folder / "report" / "index.html").read_text()
    assert "not counted" in text and "have not been measured again yet" in text
    walk = Walk(
        folders=("/card",),
        originals=(
            *((f"/card/A{n}.mov", f"/card/A{n}.mov", "") for n in range(3)),
            ("/card/<i>X9.mov", "/card/<i>X9.mov", ""),
            ("/card/B.r3d", "/card/B.r3d", "is camera raw"),
        ),
        ignored={"/card": 2},
        absent=(("A9.mov", "/card/ascmhl/1.mhl"),),
    )
    ((asking,), _) = read_askings(folder)
    keep_asking(folder, replace(asking, walk=walk, named=frozenset(f"/card/A{n}.mov" for n in range(3))))
    run = rushlight("verify", folder)
    assert run.returncode == 0, run.stdout + run.stderr
    text = " ".join((folder / "report" / "index.html").read_text().split())
    assert (
        "7 originals were found on the media: 3 in the list, 1 in no row of it, 1 not readable, 2 left out"
        in text
    )
    for words in (
        "/card/&lt;i&gt;X9.mov",
        "not readable: is camera raw",
        "1 that the offload's manifest names",
    ):
        assert words in html.unescape(text) or words in text
    assert (
        re.search(r"Measured again on 20..-..-.. ..:..(?: \S+ \(.*?)? ?UTC\)?: \d match", text)
        and "Measured again: pass" in text
    )
    first = next(iter(latest(read_records(folder)).values()))
    append_record(folder, {**first, "finished": "2030-01-01T00:00:00+00:00"})
    write_report(folder)
    text = (folder / "report" / "index.html").read_text()
    assert "1 not measured since they were made" in text and "Not measured again since it was made." in text
    still = next(e["path"] for e in first["outputs"] if e["still_kind"] == "tiff16")
    (folder / still).write_bytes((folder / still).read_bytes() + b"x")
    assert rushlight("verify", folder).returncode == 1
    text = (folder / "report" / "index.html").read_text()
    assert (
        text.count("failed when it was measured again") == 4
        and text.count('<strong class="bad">wrong: <a') == 2
        and "hash: " in text
    )  # the two that share the file
    keep_asking(folder, asking)
    write_report(folder)
    assert "not counted" in (folder / "report" / "index.html").read_text()
    (folder / "log" / "verify.json").write_text("torn")
    write_report(folder)
    assert "have not been measured again yet" in (folder / "report" / "index.html").read_text()


def test_pictures_are_kept_and_old_ones_removed(out: Path, tmp_path: Path) -> None:
    folder = tmp_path / "out"
    shutil.copytree(out, folder)
    pictures = folder / "report" / "pictures"
    before = {p.name: p.stat().st_mtime_ns for p in pictures.iterdir()}
    for name in ("old.jpg", ".part.jpg", "new.jpg"):
        (pictures / name).write_bytes(b"of another clip")
        if name != "new.jpg":
            os.utime(pictures / name, (0, 0))
    before["new.jpg"] = (
        (pictures / "new.jpg").stat().st_mtime_ns
    )  # a night beside this has just finished its clip
    write_report(folder)
    assert {p.name: p.stat().st_mtime_ns for p in pictures.iterdir()} == before


def at(zone: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setenv("TZ", zone)
    time.tzset()
    try:
        return write_report(folder).read_text()
    finally:
        monkeypatch.undo()
        time.tzset()


def test_times_are_the_machines_with_their_offset_and_utc(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    append_record(tmp_path, recorded("A001", movie(), finished="2026-11-27T23:10:00+00:00"))
    oslo = at("Europe/Oslo", tmp_path, monkeypatch)
    assert "2026-11-28 00:10 +01:00 (2026-11-27 23:10 UTC)" in oslo
    assert at("Europe/Oslo", tmp_path, monkeypatch) == oslo, "made twice, the same bytes"
    assert "2026-11-27 18:10 -05:00 (23:10 UTC)" in at("America/New_York", tmp_path, monkeypatch)
    assert "· 2026-11-27 23:10 UTC ·" in at("UTC", tmp_path, monkeypatch)


def test_what_is_wrong_stands_first_with_its_file_and_what_to_do(tmp_path: Path) -> None:
    """From records alone: a bad file by its link, a lost clip's card, eight problems and then how many more."""
    append_record(
        tmp_path, recorded("A001", movie(path="editorial/A 1.mov"), finished="2026-11-28T04:10:00+00:00")
    )
    (tmp_path / "editorial").mkdir()
    (tmp_path / "editorial" / "A 1.mov").write_bytes(b"x")
    for n in range(10):
        lost = {"status": "set aside", "error": f"day.csv:{n}: slope: '{n} <b>' has 1 number"}
        append_record(tmp_path, recorded(f"B{n}", row={"scene": "3", "take": str(n)}) | lost)
    bad = {"hash": {"verdict": "fail", "text": "the file's bytes have changed"}}
    clip = {"clip": "A001", "job": "A001", "made": "2026-11-28T04:10:00+00:00", "decision": "none"}
    clip |= {"verdict": "fail", "checks": bad, "files": {"editorial/A 1.mov": bad}}
    verdicts = {"schema": "rushlight-verify-1", "measured": "2026-11-28T04:30:00+00:00", "clips": [clip]}
    (tmp_path / "log" / "verify.json").write_text(json.dumps(verdicts))
    page = write_report(tmp_path).read_text()
    first, day = page.split("</header>")
    assert (
        'wrong file <b><a href="../editorial/A%201.mov">editorial/A 1.mov</a></b>, as measured again:'
        in first
    )
    assert "Hand nothing of this clip on" in first and first.count("Mend that line of the list") == 10
    assert first.index(">Wrong<") < first.index(">Not delivered, or missing<"), (
        "what might be handed on stands first"
    )
    before, after = first.split("<summary>and 2 more</summary>")
    assert before.count('href="#B') == 8 and after.count('href="#B') == 2
    assert '<strong class="bad">wrong: <a href="../editorial/A%201.mov">editorial/A 1.mov</a></strong>' in day
    assert day.count('<article class="take lost"') == day.count("Mend that line of the list") == 10
    assert (
        'id="B7" data-scene="3"' in day
        and "scene 3 · take 7" in day
        and "10 not delivered" in day
        and "<b>&#39;" not in page
    )
    assert stopped(page) == []


def test_what_was_heard_of_two_sounds_is_shown_on_one_time_axis(tmp_path: Path) -> None:
    """A clap stands above itself; a second has its line, and a drift that rounds to nothing has no sign."""
    log = recorded("A001", movie(), frames=60, rate="24")
    heard = {"offset_ms": 29.0, "drift_ms": -0.01, "peaks": [[0.0] * 100 + [1.0] + [0.1] * 219] * 2}
    log["sound"] = {"kind": "production", "reason": "timecode", "files": [], "heard": heard | {"windows": []}}
    append_record(tmp_path, log)
    write_report(tmp_path)
    text = (tmp_path / "report" / "index.html").read_text()
    assert "the first 2.5 seconds: above production sound, below camera sound" in text
    assert (
        text.count("100,1.0 ") == 2
        and re.findall(r'<rect x="([\d.]+)" width=".4"', text) == ["128.0", "256.0"] * 2
    )
    assert "heard 29.0 ms after it, drift 0.0 ms" in text


def test_damaged_frames_are_to_look_at_on_the_first_screen_however_well_the_file_matches(
    tmp_path: Path,
) -> None:
    """From records alone: open, with its sentence, counted among the warnings, and nothing of the clip green."""
    when, said = "2026-11-28T04:10:00+00:00", "delivered with 4 damaged frames: 01:00:00:03"
    clips = []
    for name, more in (("A001", {}), ("A002", {"warnings": [said]})):
        append_record(tmp_path, recorded(name, movie(path=f"editorial/{name}.mov"), finished=when, **more))
        clip = {"clip": name, "job": name, "made": when, "decision": "none", "verdict": "pass"}
        clips.append(clip | {"checks": {"hash": {"verdict": "pass", "text": ""}}, "files": {}})
    verdicts = {"schema": "rushlight-verify-1", "measured": when, "clips": clips}
    (tmp_path / "log" / "verify.json").write_text(json.dumps(verdicts))
    page = write_report(tmp_path).read_text()
    first, day = page.split("</header>")
    assert "2 of 2 clips are ready; 1 to look at." in first and "Notes" not in first
    opened = first.partition('<details class="needs" id="look-at" open>')[2]
    assert (
        said in opened
        and 'href="#A002"' in opened
        and "Once its original is copied again whole, give the same command: it is made again." in opened
    )
    assert (
        day.count('<span class="mark odd">damaged frames</span> <span class="mark soft">measured: pass') == 2
    )
    assert day.count('<span class="mark good">measured: pass') == 2
    assert "1 without a decision match the show transform alone, 0 cannot be told, 1 with warnings" in day
