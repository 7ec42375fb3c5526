"""Folders that somebody tampered with: nothing outside them is unlinked, read, written or copied; the other clips hold."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from here import RECIPE, HereFarm, run, small_day
from logged import append_record, latest, read_records
from rushlight.batch.farm import dask_farm as farms
from rushlight.batch.job_log import read_log
from rushlight.batch.queue.store import open_store
from rushlight.batch.run.kept_inputs import kept_requests
from rushlight.pipelines.errors import OptionError, OutsideError
from rushlight.pipelines.grading.bake import _digest, load_baked
from rushlight.pipelines.job.spec import JobSpec

STILLS = """
[[output]]
name = "stills"
make = "stills"
kinds = ["jpeg", "exr"]
size = "128x72"
"""
NAMES: list[Any] = ["/abs", "../kept", "editorial/../../kept", "", ".", "editorial//x", "a\0b", "x.mov", 7]


@pytest.fixture(autouse=True)
def farm(monkeypatch: pytest.MonkeyPatch) -> HereFarm:
    """Every farm is this process."""
    here = HereFarm()
    monkeypatch.setattr(farms, "DaskFarm", lambda **options: here)
    return here


@pytest.fixture(scope="module")
def rendered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder `day` of two small originals, and `out` with all that is made of them."""
    root = tmp_path_factory.mktemp("hostile")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(farms, "DaskFarm", lambda **options: HereFarm())
        day = small_day(root / "day", {"A001C001": 3, "A001C002": 3})
        (root / "day" / "two.toml").write_text(RECIPE + STILLS)
        code, said = run("render", day, "--recipe", root / "day" / "two.toml", "--out", root / "out")
        assert code == 0, said
    return root


@pytest.fixture
def day(rendered: Path, tmp_path: Path) -> Iterator[Path]:
    """A copy of it, with a file `kept` beside `out` that must live through everything, unread."""
    shutil.copytree(rendered, tmp_path / "d")
    kept = tmp_path / "d" / "kept"
    kept.write_bytes(b"precious")
    os.utime(kept, ns=(10**18, 10**18))
    yield tmp_path / "d"
    info = kept.stat()
    assert kept.read_bytes() == b"precious" and info.st_mtime_ns == 10**18 and info.st_nlink == 1


def render(day: Path, *more: object, out: str = "out") -> tuple[int, str]:
    recipe = day / "day" / "two.toml"
    return run("render", day / "day" / "day.csv", "--recipe", recipe, "--out", day / out, *more)


def tampered(day: Path, change: Callable[[dict[str, Any]], None], clip: str = "A001C001.mov") -> int:
    """One more record of a clip, changed; gives its line."""
    record = next(r for r in latest(read_records(day / "out")).values() if r["clip"] == clip)
    change(record)
    append_record(day / "out", record)
    return (day / "out" / "log" / "jobs.jsonl").read_text().count("\n")


def as_kept(day: Path, name: Any) -> Callable[[dict[str, Any]], None]:
    """A change that names `kept` in the place of the first delivered file, with its true size and time."""
    info = (day / "kept").stat()

    def change(record: dict[str, Any]) -> None:
        path = str(day / "kept") if name == "/abs" else name
        entry = {"path": path, "bytes": info.st_size, "mtime_ns": info.st_mtime_ns}
        record["outputs"][0] |= entry | {"identity": "0" * 32}

    return change


# --- records


@pytest.mark.parametrize("name", NAMES, ids=repr)
def test_a_record_with_a_name_that_leads_out_is_refused_with_its_line(name: Any, day: Path) -> None:
    before = latest(read_records(day / "out"))
    line = tampered(day, as_kept(day, name))
    log = read_log(day / "out")
    (refused,) = log.refused
    assert latest(read_records(day / "out")) == before and refused.clip == "A001C001.mov"
    assert str(refused.error).startswith(f"{day}/out/log/jobs.jsonl:{line}: outputs[0].path: ")


@pytest.mark.parametrize(
    ("key", "change"),
    [
        ("job", lambda r: r.update(job="../../kept")),
        ("job", lambda r: r.update(job="..")),
        ("outputs[1].revision", lambda r: r["outputs"][1].update(revision="../..")),
        ("outputs[1].revision", lambda r: r["outputs"][1].update(revision=-1)),
        ("outputs[0].path", lambda r: r["outputs"][0].update(path="log/jobs.jsonl")),
        ("colour.pictures[0].frames", lambda r: r["colour"]["pictures"][0].update(frames="../kept")),
        ("colour.pictures[0].frames", lambda r: r["colour"]["pictures"][0].update(frames="/etc/passwd")),
    ],
)
def test_every_name_of_a_record_is_looked_at(
    key: str, change: Callable[[dict[str, Any]], None], day: Path
) -> None:
    line = tampered(day, change)
    (refused,) = read_log(day / "out").refused
    assert f"jobs.jsonl:{line}: {key}: " in str(refused.error)


@pytest.mark.parametrize("name", ["/abs", "../kept"])
@pytest.mark.parametrize("replaced", ["keep", "remove"])
def test_render_takes_nothing_away_outside(replaced: str, name: str, day: Path) -> None:
    """As it was: a changed grade made it put the old file by (linked, or moved) and take its name away."""
    line = tampered(day, as_kept(day, name))
    recipe = day / "day" / "two.toml"
    recipe.write_text(recipe.read_text().replace('quality = "x"', "") + "\n[look]\nexposure = 1.0\n")
    code, said = render(day, "--replaced", replaced)
    assert code == 0, said
    assert f"jobs.jsonl:{line}: outputs[0].path" in said
    assert {r["status"] for r in latest(read_records(day / "out")).values()} == {"done"}
    assert (day / "out" / "revisions").exists() == (replaced == "keep")
    assert not list((day / "out").rglob("kept"))


def test_report_verify_and_the_other_clip(day: Path) -> None:
    line = tampered(day, as_kept(day, "../kept"))
    place = f"jobs.jsonl:{line}: outputs[0].path"
    code, said = run("report", day / "out")
    page = (day / "out" / "report" / "index.html").read_text()
    assert code == 0 and place in page and "A001C002.mov" in page, said
    code, said = run("verify", day / "out", "--json")
    found = json.loads(said)
    clips = {c["clip"]: c for c in found["clips"]}
    refused, held = clips["A001C001.mov"], clips["A001C002.mov"]
    assert code == 1 and refused["verdict"] == "fail" and place in refused["checks"]["record"]["text"]
    assert refused["files"] == {} and held["checks"]["hash"]["verdict"] == "pass"


def test_a_delivered_file_that_became_a_link(day: Path) -> None:
    """Neither measured, nor shown, nor counted as there; it is made anew, and what the link leads to stays."""
    movie = day / "out" / "editorial" / "A001C001.mov"
    shutil.copy2(movie, day / "twin.mov")
    movie.unlink()
    movie.symlink_to(day / "twin.mov")
    code, said = run("verify", day / "out", "--json")
    clips = {c["clip"]: c for c in json.loads(said)["clips"]}
    assert code == 1 and clips["A001C002.mov"]["checks"]["hash"]["verdict"] == "pass"
    assert "symbolic link" in clips["A001C001.mov"]["files"]["editorial/A001C001.mov"]["frames"]["text"]
    assert run("report", day / "out")[0] == 0
    before = (day / "twin.mov").read_bytes()
    code, said = render(day)
    assert code == 0 and not movie.is_symlink() and movie.read_bytes() == before, said
    assert (day / "twin.mov").read_bytes() == before and (day / "twin.mov").stat().st_nlink == 1


# --- folders that are links


@pytest.mark.parametrize(
    "place", ["editorial", "stills", "log", "log/frames", "log/inputs", ".work", "report", "ascmhl"]
)
@pytest.mark.parametrize("command", ["render", "from"])
def test_out_with_a_part_that_is_a_link(command: str, place: str, day: Path) -> None:
    """Said, and refused before anything is made."""
    away = day / "away"
    if (day / "out" / place).exists():
        shutil.move(day / "out" / place, away)
    else:
        away.mkdir()
    (day / "out" / place).symlink_to(away)
    for file in away.rglob("*.mov"):
        file.write_bytes(b"damaged")  # so that there is something to make
    if not place.startswith("log"):
        (day / "out" / "viewing" / "A001C001.mp4").unlink()
    before = {p: p.lstat().st_mtime_ns for p in away.rglob("*")}
    code, said = render(day) if command == "render" else run("render", "--from", day / "out")
    assert code == 2 and "is a symbolic link to" in said and f"{place}: " in said, said
    assert {p: p.lstat().st_mtime_ns for p in away.rglob("*")} == before


@pytest.mark.parametrize("place", ["report", "report/pictures", "log"])
def test_report_into_a_link(place: str, day: Path) -> None:
    away = day / "away"
    shutil.move(day / "out" / place, away)
    (day / "out" / place).symlink_to(away)
    before = {p: p.lstat().st_mtime_ns for p in away.rglob("*")}
    code, said = run("report", day / "out")
    assert code == 2 and "is a symbolic link to" in said
    assert {p: p.lstat().st_mtime_ns for p in away.rglob("*")} == before


@pytest.mark.parametrize(
    "name", ["report/index.html", "report/batch.csv", "log/verify.json", "log/requests", ".work/runner"]
)
def test_a_file_of_ours_that_is_a_link_is_not_written_through(name: str, day: Path) -> None:
    place = day / "out" / name
    if name == "log/requests":
        (place,) = place.glob("*.json")
    place.parent.mkdir(exist_ok=True)
    place.unlink(missing_ok=True)
    place.symlink_to(day / "kept")
    (day / "out" / "viewing" / "A001C001.mp4").unlink()
    code, said = render(day)
    assert code == (2 if name == ".work/runner" else 0), said
    run("report", day / "out")
    run("verify", day / "out")


def test_out_itself_may_be_the_users_own_link(day: Path) -> None:
    shutil.move(day / "out", day / "disk")
    (day / "out").symlink_to(day / "disk")
    (day / "disk" / "viewing" / "A001C001.mp4").unlink()
    code, said = render(day)
    assert code == 0 and (day / "disk" / "viewing" / "A001C001.mp4").is_file(), said


# --- kept requests


def requests(day: Path, change: Callable[[dict[str, Any]], None], *, keep: bool = False) -> int:
    """The kept request changed, or with `keep` a changed one after it; gives its line."""
    path = day / "out" / "log" / "inputs" / "requests.jsonl"
    said = json.loads(path.read_text().splitlines()[-1])
    before = path.read_text() if keep else ""
    change(said)
    path.write_text(before + json.dumps(said) + "\n")
    return len(path.read_text().splitlines())


@pytest.mark.parametrize("name", ["../../../kept", "/abs", "", "..", "a/b", "x\0", 3], ids=repr)
def test_a_request_with_a_name_that_leads_out_is_refused_with_its_line(name: Any, day: Path) -> None:
    def change(said: dict[str, Any]) -> None:
        given = next(k for k in said["files"] if k.endswith("day.csv"))
        said["files"][given] = str(day / "kept") if name == "/abs" else name

    line = requests(day, change)
    told: list[str] = []
    with pytest.raises(OptionError, match="that can be made again"):
        kept_requests(day / "out", told.append)
    assert len(told) == 1 and f"requests.jsonl:{line}: files" in told[0]
    code, said = run("render", "--from", day / "out", "--out", day / "new")
    assert code == 2 and f"requests.jsonl:{line}" in said
    assert not (day / "new").exists()


@pytest.mark.parametrize(
    ("key", "kind"), [("list", str), ("recipe", str), ("defaults", str), ("grades", list)]
)
def test_a_request_for_what_is_not_kept_is_refused(key: str, kind: type, day: Path) -> None:
    (day / "kept.csv").write_text("clip\n")
    place = str(day / "kept.csv")
    line = requests(day, lambda said: said.update({key: [place] if kind is list else place}))
    code, said = run("render", "--from", day / "out", "--out", day / "new")
    assert (
        code == 2 and f"requests.jsonl:{line}: {key}: " in said and "not among what log/inputs keeps" in said
    )
    assert not (day / "new").exists()


def test_one_request_is_refused_and_the_other_holds(day: Path) -> None:
    def change(said: dict[str, Any]) -> None:
        said["list"] = "/other.csv"
        said["files"]["/other.csv"] = "../../../kept"

    line = requests(day, change, keep=True)
    code, said = run("render", "--from", day / "out", "--out", day / "new")
    assert code == 1 and f"requests.jsonl:{line}" in said
    assert {r["status"] for r in latest(read_records(day / "new")).values()} == {"done"}
    assert not any(b"precious" in p.read_bytes() for p in (day / "new").rglob("*") if p.is_file())


def test_a_kept_input_that_is_a_link(day: Path) -> None:
    (kept,) = (day / "out" / "log" / "inputs").glob("*.list.csv")
    (day / "elsewhere.csv").write_bytes(kept.read_bytes())
    kept.unlink()
    kept.symlink_to(day / "elsewhere.csv")
    code, said = run("render", "--from", day / "out", "--out", day / "new")
    assert code == 2 and "is a symbolic link to" in said
    assert not list((day / "new").rglob("*.csv"))


def test_a_kept_list_names_files_that_are_not_kept(day: Path) -> None:
    """A LUT and a decision elsewhere are not read and not copied: those rows are set aside, the others made."""
    (day / "kept.cube").write_text("LUT_3D_SIZE 2\n" + "0.5 0.5 0.5\n" * 8)
    text = f"clip,encoding,levels,lut\nA001C001.mov,LogC3,narrow,{day / 'kept.cube'}\nA001C002.mov,LogC3,narrow,\n"
    name = f"{hashlib.sha256(text.encode()).hexdigest()[:40]}.list.csv"  # as one who knows how they are named would do it
    (day / "out" / "log" / "inputs" / name).write_text(text)

    def change(said: dict[str, Any]) -> None:
        said["files"][said["list"]] = name

    requests(day, change)
    code, said = run("render", "--from", day / "out", "--out", day / "new")
    status = {r["clip"]: r["status"] for r in latest(read_records(day / "new")).values()}
    assert code == 1 and status == {"A001C001.mov": "set aside", "A001C002.mov": "done"}
    assert "is not among what the output folder keeps" in said
    assert not any(
        "0.5 0.5" in p.read_text("latin-1") for p in (day / "new" / "log").rglob("*") if p.is_file()
    )


def test_a_recipe_of_the_users_own_may_name_what_is_not_kept(day: Path) -> None:
    (day / "day" / "show.cube").write_text("LUT_3D_SIZE 2\n" + "0.5 0.5 0.5\n" * 8)
    own = day / "day" / "own.toml"
    own.write_text((day / "day" / "two.toml").read_text() + '\n[look]\nshow_lut = "show.cube"\n')
    code, said = run("render", "--from", day / "out", "--recipe", own, "--out", day / "new")
    assert code == 0, said
    (cube,) = (day / "new" / "log" / "inputs").glob("*.cube")
    assert "0.5 0.5" in cube.read_text()


@pytest.mark.parametrize("name", ["../../../../look.npz", "/abs"])
def test_a_baked_look_elsewhere_is_baked_again(name: str, day: Path) -> None:
    looks = day / "out" / "log" / "inputs" / "looks"
    for of in looks.glob("*.of"):
        shutil.copy2(looks / of.read_text(), day / "look.npz")
        of.write_text(str(day / "look.npz") if name == "/abs" else name)
    code, said = run("render", "--from", day / "out", "--out", day / "new")
    assert code == 0, said
    made = {p.read_text() for p in (day / "new" / "log" / "inputs" / "looks").glob("*.of")}
    assert made and all("/" not in text for text in made)


def test_a_kept_look_of_another_look_is_not_taken_by_its_name(day: Path) -> None:
    """Whole, and by its own digest sound, but of no grade: what is delivered has the grade."""
    looks = day / "out" / "log" / "inputs" / "looks"
    plain = replace(load_baked(next(looks.glob("*.npz"))), grade=None, saturation=0.0)
    wrong = replace(plain, digest=_digest(plain)).save(looks)
    right = {of.name: of.read_text() for of in looks.glob("*.of")}
    for of in looks.glob("*.of"):
        of.write_text(wrong)
    assert run("render", "--from", day / "out", "--out", day / "new")[0] == 0
    made = {of.name: of.read_text() for of in (day / "new" / "log" / "inputs" / "looks").glob("*.of")}
    assert made == right


# --- manifests


@pytest.mark.parametrize("name", ["../../kept", "/abs", ""])
def test_a_chain_that_names_a_manifest_elsewhere(name: str, day: Path) -> None:
    chain = day / "out" / "ascmhl" / "ascmhl_chain.xml"
    text = chain.read_text()
    first = text[text.index("<path>") + 6 : text.index("</path>")]
    chain.write_text(text.replace(first, str(day / "kept") if name == "/abs" else name))
    (day / "out" / "viewing" / "A001C001.mp4").unlink()
    code, said = render(day)
    assert code == 0 and "manifest was not written" in said
    assert "its entry 1 names" in said and "which is no file beside it" in said


# --- queues


def payload_of(day: Path) -> dict[str, Any]:
    """A job as a queue has it."""
    queue = day / "queue.sqlite"
    recipe = day / "day" / "two.toml"
    asked = ("--recipe", recipe, "--out", day / "other", "--queue", queue)
    code, said = run("queue", "add", day / "day" / "day.csv", *asked)
    assert code == 0, said
    with open_store(queue) as store:
        row = store.rows()[0]
        plan = store.plan(row.key, row.identity)
        return plan.plain() if plan else {}


def test_a_job_with_names_that_lead_out_is_refused(day: Path) -> None:
    payload = payload_of(day)
    JobSpec.model_validate(payload)
    movie, stills = payload["outputs"][0], payload["outputs"][-1]
    changes: list[dict[str, Any]] = [
        {"job": "../x"},
        {"baked": {"graded": "../../kept"}},
        *(
            {"outputs": [movie | {key: name}]}
            for key in ("folder", "file", "identity")
            for name in ("../x", "/x", "")
        ),
        {"outputs": [movie | {"font": "/etc/passwd"}]},
        {"outputs": [stills | {"stills": [stills["stills"][0] | {"file": "../x.jpg"}]}]},
        {"look": payload["look"] | {"lut": {"path": "/etc/passwd", "name": "", "digest": ""}}},
    ]
    for change in changes:
        with pytest.raises(OutsideError, match=r"is no name inside|is a path where"):
            JobSpec.model_validate(payload | change)


def test_a_queued_job_for_another_folder_fails_and_the_other_is_made(day: Path) -> None:
    payload = payload_of(day)
    with open_store(day / "queue.sqlite") as store:
        key = store.rows()[0].key
        text = json.dumps(payload | {"out": str(day / "elsewhere")})
        store._db.execute("UPDATE job SET payload=? WHERE key=?", (text, key))
    code, said = run("queue", "run", "--queue", day / "queue.sqlite")
    assert code == 1 and "elsewhere" in said and not (day / "elsewhere").exists()
    assert [r["status"] for r in latest(read_records(day / "other")).values()] == ["done"]


def test_a_queued_folder_with_a_link_fails_its_clips_and_the_night_ends(day: Path) -> None:
    payload_of(day)
    shutil.move(day / "other" / "log", day / "away")
    (day / "other" / "log").symlink_to(day / "away")
    before = {p: p.lstat().st_mtime_ns for p in (day / "away").rglob("*")}
    code, said = run("queue", "run", "--queue", day / "queue.sqlite")
    assert code == 1 and "is a symbolic link to" in said
    assert {p: p.lstat().st_mtime_ns for p in (day / "away").rglob("*")} == before


def test_what_a_foreign_folders_own_queue_holds_is_not_run(day: Path, farm: HereFarm) -> None:
    """Its row of the same clip, left running by nobody, names another folder; it is replaced."""
    (day / "out" / "viewing" / "A001C001.mp4").unlink()
    stopped: list[bytes] = []

    def look(task: Any) -> None:
        queue = day / "out" / ".work" / "queue.sqlite"
        if not stopped:
            stopped.append(queue.read_bytes())

    farm.before = look
    assert render(day)[0] == 0 and stopped
    (day / "out" / "viewing" / "A001C001.mp4").unlink()
    (day / "out" / ".work").mkdir(exist_ok=True)
    queue = day / "out" / ".work" / "queue.sqlite"
    queue.write_bytes(stopped[0])
    with open_store(queue, of=day / "out") as store:
        (row,) = store.rows()
        plan = store.plan(row.key, row.identity)
        text = json.dumps((plan.plain() if plan else {}) | {"out": str(day / "elsewhere")})
        store._db.execute("UPDATE job SET payload=?, state='running'", (text,))
    code, said = render(day)
    assert code == 0 and not (day / "elsewhere").exists(), said
    assert (day / "out" / "viewing" / "A001C001.mp4").is_file()


# --- names from lists


@pytest.mark.parametrize("reel", ["..", "../../kept", "/etc", ".", "a\\..\\b", "CON", "x\0y"])
def test_a_reel_that_becomes_a_folder_stays_inside(reel: str, day: Path) -> None:
    """Twins go to a folder of their reel."""
    (day / "day" / "two").mkdir()
    shutil.copy2(day / "day" / "A001C002.mov", day / "day" / "two" / "A001C001.mov")
    cells = reel.replace("\0", "")
    (day / "day" / "day.csv").write_text(
        f"clip,encoding,levels,reel\nA001C001.mov,LogC3,narrow,{cells}\ntwo/A001C001.mov,LogC3,narrow,B\n"
    )
    before = {p.name for p in day.iterdir()}
    code, said = render(day, out="new")
    assert code == 0, said
    assert {p.name for p in day.iterdir()} == before | {"new"}
    for record in latest(read_records(day / "new")).values():
        for entry in record["outputs"]:
            assert (day / "new" / entry["path"]).resolve().is_relative_to((day / "new").resolve())
            assert len(Path(entry["path"]).parts) == 3


def test_a_recipes_output_name_is_no_way_out(day: Path) -> None:
    for name in ("../x", "/x", "..", "a/b", "log", ".work", "report"):
        (day / "day" / "two.toml").write_text(RECIPE.replace('name = "editorial"', f'name = "{name}"'))
        code, said = render(day, out="new")
        assert code == 2 and "will not do for a folder" in said
    assert not (day / "new").exists()
