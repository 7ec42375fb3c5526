"""A day document in place of a list: what it asks for, who overrules whom, what is not there yet, and what is wrong."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from here import RECIPE, HereFarm, farm_here, run, rushlight  # noqa: F401
from pictures import numbered, write_movie
from recordings import bext, chunk, ixml, reference_of, write_wav
from rushlight.batch.api.grades import grades
from rushlight.batch.api.plan import plan
from rushlight.batch.api.requests import output_folders, requests_of
from rushlight.batch.day.shooting_day import load_day
from rushlight.batch.job_log import latest, read_records
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.batch.plan.request_ledger import read_askings
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.jobs_to_make import jobs_of
from rushlight.batch.run.kept_inputs import kept_requests
from rushlight.pipelines.errors import OptionError, RecipeError

DAY = """
production = "The Lamp Room"
day = 12
unit = "main"
media = ["cards", "more cards"]
sound = ["sound"]
grades = ["grades", "late.ccc"]
recipes = ["small.toml"]
out = "out"

[[default]]
camera = "A"
encoding = "LogC3"

[[default]]
camera = "B"
encoding = "V-Log"
"""


@pytest.fixture
def day(tmp_path: Path) -> Path:
    for place in ("cards/A001", "more cards/B001", "grades"):
        (tmp_path / place).mkdir(parents=True)
    write_movie(tmp_path / "cards/A001/A001C001.mov", [numbered(k) for k in range(2)], reel="A001")
    write_movie(
        tmp_path / "more cards/B001/B001C001.mov",
        [numbered(k) for k in range(2)],
        reel="B001",
        timecode="02:00:00:00",
    )
    one, _, _ = RECIPE.rpartition("[[output]]")
    (tmp_path / "small.toml").write_text(one + '[look]\ntransform = "none"\n')
    (tmp_path / "day.toml").write_text(DAY)
    return tmp_path / "day.toml"


def request(day: Path, **options: object) -> Request:
    (found,) = requests_of(day, options)  # type: ignore[arg-type]
    return found


def test_all_that_it_names_is_found_beside_it(day: Path) -> None:
    asked = request(day)
    place = day.parent
    assert asked.media == (place / "cards", place / "more cards")
    assert (asked.out, asked.recipe, asked.defaults) == (place / "out", str(place / "small.toml"), day)
    assert asked.title.text == "The Lamp Room, day 12, main unit"
    assert asked.sound == () and asked.grades == (place / "grades",)
    assert [text.partition(": ")[2] for text in asked.notes] == [
        "sound[0]: sound is not there yet; nothing is taken from it",
        "grades[1]: late.ccc is not there yet; nothing is taken from it",
    ]


def test_every_original_under_its_media_is_a_clip(day: Path) -> None:
    prepared = prepare(request(day))
    found = [(c.row.clip, c.signal.encoding.name) for c in prepared.plan.clips]
    assert not prepared.plan.wrong and found == [
        ("cards/A001/A001C001.mov", "ARRI LogC3/Wide Gamut 3"),
        ("more cards/B001/B001C001.mov", "V-Log/V-Gamut"),
    ]
    assert prepared.media and (prepared.media.found, prepared.media.listed) == (2, 2)
    assert set(request(day).notes) <= set(prepared.plan.warnings)


def test_an_option_overrules_its_key(day: Path) -> None:
    place = day.parent
    asked = request(day, recipe="stills", media=place / "cards", grades=place / "grades")
    assert (asked.recipe, asked.media) == ("stills", (place / "cards",))
    assert [n for n in asked.notes if "grades" in n] == []
    (other,) = requests_of(day, {}, out=place / "elsewhere")
    assert other.out == place / "elsewhere"


def test_burn_in_takes_the_days_fields_and_grades_its_name(day: Path) -> None:
    text = '[output.burnin]\ntext = [{ at = "bottom", text = "{production} {day} {unit} {clip}" }]\n'
    (day.parent / "small.toml").write_text(RECIPE.rpartition("[output.burnin]")[0] + text)
    turns, _, _ = jobs_of(prepare(request(day)), day.parent / "out", EventStream())
    assert turns[0].spec.fields["production"] == "The Lamp Room"
    before = {o.output: o.identity for o in turns[0].spec.outputs}
    day.write_text(DAY.replace("main", "second"))  # another unit: only what draws it is another
    turns, _, _ = jobs_of(prepare(request(day)), day.parent / "out", EventStream())
    after = {o.output: o.identity for o in turns[0].spec.outputs}
    assert before["editorial"] == after["editorial"] and before["viewing"] != after["viewing"]
    files = [p.name for p in grades(day, to=day.parent / "g").files]
    assert "The Lamp Room, day 12, second unit.edl" in files


def test_media_that_lie_above_the_document(day: Path) -> None:
    (day.parent / "papers").mkdir()
    moved = day.rename(day.parent / "papers" / "day.toml")
    text = moved.read_text().replace('"cards", "more cards"', '"../cards", "../more cards"')
    moved.write_text(text.replace('"small.toml"', '"../small.toml"').replace('"out"', '"../out"'))
    plan = prepare(request(moved)).plan
    assert not plan.wrong and [c.row.clip for c in plan.clips] == [
        str(day.parent / "cards/A001/A001C001.mov"),
        str(day.parent / "more cards/B001/B001C001.mov"),
    ]


def test_a_name_that_no_file_has(day: Path) -> None:
    day.write_text(f'media = ["cards"]\nsound = ["{"x" * 900}"]\n')
    with pytest.raises(RecipeError, match=r"sound\[0\]: 'xx.*cannot be looked at"):
        request(day)


def test_a_list_of_the_days_own(day: Path) -> None:
    (day.parent / "clips.csv").write_text("clip\nA001C001\n")
    day.write_text('list = "clips.csv"\n' + DAY)
    assert [c.stem for c in prepare(request(day)).plan.clips] == ["A001C001"]


def test_several_recipes_each_have_a_folder(day: Path) -> None:
    day.write_text(DAY.replace('["small.toml"]', '["editorial", "small.toml"]'))
    place = day.parent
    asked = requests_of(day, {})
    assert [r.out for r in asked] == [place / "out/editorial", place / "out/small"]
    assert [r.out for r in requests_of(day, {}, out="o")] == [Path("o/editorial"), Path("o/small")]
    assert output_folders(day) == (place / "out/editorial", place / "out/small")
    one = request(day, recipe="small")  # by the name that it has there
    assert (one.recipe, one.out) == (str(place / "small.toml"), place / "out/small")
    document = plan(day).document()
    assert document["recipe"] == "editorial" and [p["recipe"] for p in document["further"]] == ["two"]
    with pytest.raises(OptionError, match="--write needs one recipe"):
        plan(day, write=place / "all.csv")
    code, said = run("verify", day)  # one after another: the first was not made yet
    assert code == 2 and said.startswith(f"{place / 'out/editorial'}:\n")
    code, said = run("verify", day, "--json")
    assert code == 2 and "nothing was rendered here" in said and not said.startswith("{")


def test_media_that_is_nowhere_and_a_day_that_is_nowhere(day: Path) -> None:
    (day.parent / "more cards").rename(day.parent / "gone")
    assert any("media[1]" in text for text in request(day).notes)  # the other card can be made
    day.write_text('media = ["nowhere"]\n')
    with pytest.raises(OptionError, match=r"day.toml: media: none of them is there"):
        request(day)
    day.write_text("")
    with pytest.raises(OptionError, match=r"media: is not stated"):
        request(day)
    with pytest.raises(OptionError, match="there is no such day"):
        requests_of(day.with_name("tomorrow.toml"), {})
    with pytest.raises(OptionError, match='takes `out = "FOLDER"`'):
        output_folders(day)


def test_render_queue_report_and_from_take_a_day(day: Path, farm_here: HereFarm) -> None:  # noqa: F811
    out = day.parent / "out"
    assert run("render", day, "--quiet")[0] == 0
    assert sorted(p.name for p in (out / "editorial").iterdir()) == [
        "A001C001.mov", "B001C001.mov", "clips.csv", "clips.otio",
    ]  # fmt: skip
    page, table = (out / "report/index.html").read_text(), (out / "report/batch.csv").read_text()
    assert "<title>The Lamp Room, day 12, main unit</title>" in page
    assert table.splitlines()[1].endswith(",The Lamp Room,12,main")
    (asking,) = read_askings(out)[0]
    assert asking.title.text == "The Lamp Room, day 12, main unit" and asking.name == "day.toml"
    code, said = run("plan", day)
    assert code == 0 and "\nA001C001.mov" in said  # of one name each: without their folders
    code, said = run("render", day, "--json")  # all is there
    summary = json.loads(said.splitlines()[-1])
    assert code == 0 and len(summary["unchanged"]) == 2 and summary["title"] == asking.title.text
    assert [sums["title"] for sums in summary["folders"].values()] == [asking.title.text]
    assert json.loads(run("report", day, "--json")[1])["page"] == str(out / "report/index.html")
    code, said = run("queue", "add", day, "--queue", day.parent / "q.sqlite")
    assert code == 0 and "2" in said
    (kept,) = kept_requests(out)
    assert kept.title == asking.title
    (day.parent / "day.toml").unlink()
    again = prepare(kept)  # from nothing but the folder and the originals
    assert [c.row.clip for c in again.plan.clips] == [
        "cards/A001/A001C001.mov",
        "more cards/B001/B001C001.mov",
    ]
    assert again.plan.clips[0].signal.encoding_from.endswith("day.toml default[0]")


def test_out_must_be_said_by_somebody(day: Path) -> None:
    day.write_text(DAY.replace('out = "out"\n', ""))
    for command in (("render", day), ("queue", "add", day, "--queue", day.parent / "q.sqlite")):
        code, said = run(*command)
        assert code == 2 and "--out is needed" in said
    assert load_day(day).out_of("overnight") is None


def test_manifests_of_a_day(day: Path, tmp_path: Path) -> None:
    """`auto` stays as it is; a file is relative to the document, and may come later; an option overrules them."""
    day.write_text('manifest = ["later.mhl", "auto"]\n' + DAY)
    (request,) = requests_of(day, {})
    assert request.manifest == ("auto",) and any(
        "later.mhl is not there yet" in note for note in request.notes
    )
    (day.parent / "later.mhl").write_text("")
    (request,) = requests_of(day, {})
    assert request.manifest == (str(day.parent / "later.mhl"), "auto")
    (request,) = requests_of(day, {"manifest": "auto"})
    assert request.manifest == ("auto",)


def records(out: Path) -> dict[str, JobRecord]:
    return {record.clip: record for record in latest(read_records(out)).values()}


def test_scenes_that_arrive_later_are_recorded_and_only_what_shows_them_is_made_again(
    day: Path,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    """A table at wrap: the editorial movies stay as they are, the viewing copy of the clip whose burn-in has the scene does not."""
    out, clip, other = day.parent / "out", "cards/A001/A001C001.mov", "more cards/B001/B001C001.mov"
    (day.parent / "small.toml").write_text(RECIPE + '[look]\ntransform = "none"\n')
    day.write_text('tables = ["scenes.csv"]\n' + DAY)
    assert run("render", day, "--quiet")[0] == 0
    first = records(out)
    before = {p: p.stat().st_mtime_ns for p in (*out.glob("editorial/*.mov"), *out.glob("viewing/*.mp4"))}
    scenes = day.parent / "scenes.csv"
    scenes.write_text("clip,take,circled\nA001C001,3,yes\nA009C009,1,\n")  # no burn-in shows the take
    code, said = run("render", day)
    assert code == 0 and "what came later of 1 clip" in said and "1 line fit no clip" in said
    assert {p: p.stat().st_mtime_ns for p in before} == before
    record = records(out)[clip]
    assert (record.row or {})["take"] == "3" and record.row_from["take"] == f"{scenes}:2"
    assert record.finished == first[clip].finished and records(out)[other] == first[other]
    assert "take 3 · circled" in (out / "report/index.html").read_text()
    scenes.write_text("clip,scene,take,circled\nA001C001,12A,3,yes\n")
    assert run("render", day, "--quiet")[0] == 0
    changed = {p.relative_to(out).as_posix() for p, t in before.items() if p.stat().st_mtime_ns != t}
    assert changed == {"viewing/A001C001.mp4"} and records(out)[clip].row_from["scene"] == f"{scenes}:2"
    count = len(read_records(out))
    assert (
        run("render", day, "--quiet")[0] == 0 and len(read_records(out)) == count
    )  # nothing new: nothing written
    (kept,) = kept_requests(out)[-1:]
    scenes.unlink()
    assert prepare(kept).plan.clips[0].row["scene"] == "12A"  # the folder keeps the table


def test_the_sound_that_is_matched_says_scene_and_take(day: Path) -> None:
    (day.parent / "sound").mkdir()
    start = reference_of(3600)
    extra = "<CIRCLED>TRUE</CIRCLED><NOTE>crow</NOTE>"
    data = ixml("12A", "3", rate="24/1", reference=start, extra=extra)
    write_wav(
        day.parent / "sound/S12A_T03.wav",
        48000,
        first=start,
        before=[chunk(b"bext", bext(start)), chunk(b"iXML", data)],
    )
    recipe = RECIPE.replace('name = "editorial"', 'name = "editorial"\nonly = { circled = "yes" }')
    (day.parent / "small.toml").write_text(recipe)  # of a folder, whose list has no such column
    document = plan(day).document()
    clip = document["clips"][0]
    assert {c: clip["row"].get(c) for c in ("scene", "take", "circled", "note")} == {
        "scene": "12A",
        "take": "3",
        "circled": "yes",
        "note": "crow",
    }
    assert [c["outputs"] for c in document["clips"]] == [["editorial", "viewing"], ["viewing"]]
    assert set(clip["row_from"].values()) == {"sound S12A_T03.wav"}
    said = rushlight("plan", day, COLUMNS="200").stdout  # wide: columns take turns where names are long
    assert "scene 12A take 3" in said and "circled" in said
