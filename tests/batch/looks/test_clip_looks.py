"""The looks of a clip in a plan: what a row says of its LUT and what an output says of its own, and what cannot be shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from pictures import numbered, write_movie
from rushlight.batch.lists.clip_list import Row
from rushlight.batch.plan import plan_row
from rushlight.batch.plan.clip import own_fields
from rushlight.batch.plan.jobs import Known, output_specs
from rushlight.batch.plan.model import Plan, PlannedClip
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.errors import LutError

CUBE = "LUT_3D_SIZE 2\n" + "".join(f"{r} {g} {b}\n" for b in (0, 1) for g in (0, 1) for r in (0, 1))
P3, REC709 = "P3-D65", "Rec.709 BT.1886"
Planned = Callable[..., Plan]


def output(name: str, said: str = "", state: str = "graded") -> str:
    head = f'[[output]]\nname = "{name}"\nmake = "movie"\ncodec = "hevc-10"\nsize = "128x72"\nstate = "{state}"\n'
    return head + said + "\n"


BESIDE = output("main") + output("copy", 'lut = "own.cube"') + output("p3", 'display = "P3-D65"')
HDR = output("main") + output("hdr", 'display = "PQ BT.2100"')


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("looks")
    write_movie(folder / "A001C001.mov", [numbered(n) for n in range(3)], timecode="01:00:00:00")
    for n, name in enumerate(("show", "own", "row")):
        (folder / f"{name}.cube").write_text(CUBE.replace("1 1 1", f"1 1 0.{n}"))
    return folder


@pytest.fixture
def planned(day: Path, tmp_path: Path) -> Planned:
    def of(recipe: str, *rows: dict[str, str], name: str = "A001C001") -> Plan:
        (day / "r.toml").write_text(recipe)
        columns = sorted({key for row in rows for key in row})
        lines = [",".join(["clip", *columns])]
        lines += [",".join([f"{name}.mov", *(row.get(key, "") for key in columns)]) for row in rows]
        (day / "day.csv").write_text("\n".join(lines) + "\n")
        return prepare(Request(clip_list=day / "day.csv", recipe=str(day / "r.toml"))).plan

    return of


LOG = {"encoding": "LogC3", "levels": "narrow"}
VIDEO = {"encoding": "Video Rec.709", "levels": "narrow"}


def one(plan: Plan) -> PlannedClip:
    assert not plan.wrong, plan.wrong
    (clip,) = plan.clips
    return clip


def luts(clip: PlannedClip) -> dict[str, tuple[str, str] | None]:
    """Of each output its LUT, and what that is shown as where it is for another display."""
    found = {name: clip.look_of(name).lut for name in ("main", "copy", "p3")}
    return {name: (lut.name, lut.output_space) if lut else None for name, lut in found.items()}


def test_a_row_s_lut_stands_for_the_recipe_s_and_not_for_an_output_s_own(planned: Planned) -> None:
    clip = one(planned('[look]\nshow_lut = "show.cube"\n' + BESIDE, LOG))
    assert luts(clip) == {"main": ("show", ""), "copy": ("own", ""), "p3": ("show", REC709)}
    clip = one(planned('[look]\nshow_lut = "show.cube"\n' + BESIDE, LOG | {"lut": "row.cube"}))
    assert luts(clip) == {"main": ("row", ""), "copy": ("own", ""), "p3": ("row", REC709)}
    clip = one(planned('[look]\nshow_lut = "show.cube"\n' + BESIDE, LOG | {"lut": "none"}))
    assert luts(clip) == {"main": None, "copy": ("own", ""), "p3": None}


def test_levels_alone_do_not_make_a_lut_one_for_another_display(planned: Planned) -> None:
    clip = one(planned(BESIDE, LOG | {"lut": "row.cube", "lut_output": "narrow"}))
    lut = clip.look_of("p3").lut
    assert lut is not None and (lut.output, lut.output_space) == ("narrow", REC709)
    own = clip.look_of("copy").lut
    assert own is not None and (own.output, own.output_space) == ("full", "")


def test_a_row_that_says_what_its_lut_is_for_is_believed(planned: Planned) -> None:
    clip = one(planned(BESIDE, LOG | {"lut": "row.cube", "lut_output": "P3-D65"}))
    assert luts(clip) == {"main": ("row", P3), "copy": ("own", ""), "p3": ("row", "")}


def test_an_hdr_output_under_an_sdr_lut_of_the_row_is_told_by_its_name(planned: Planned) -> None:
    ((_, error),) = planned(HDR, LOG | {"lut": "row.cube"}).wrong
    assert error.key == "lut_output"
    assert "output 'hdr': the LUT is for Rec.709 BT.1886, the output's display is PQ BT.2100" in error.text


def test_finished_video_has_no_lut_of_the_recipe_s_or_of_an_output_s(planned: Planned) -> None:
    clip = one(planned('[look]\nshow_lut = "show.cube"\n' + BESIDE, VIDEO))
    assert luts(clip) == {"main": None, "copy": None, "p3": None}
    assert dict(clip.shows) == {"p3": "display P3-D65"}  # the copy is the recipe's own look
    clip = one(planned(BESIDE, VIDEO | {"lut": "row.cube"}))
    assert luts(clip) == {"main": ("row", ""), "copy": ("row", ""), "p3": ("row", REC709)}


def test_finished_video_in_an_hdr_output_is_told_by_its_name(planned: Planned) -> None:
    ((_, error),) = planned(HDR, VIDEO).wrong
    assert error.key == "encoding" and error.text.startswith("output 'hdr': is display-encoded, for SDR")
    only = HDR + 'only = { camera = "B" }\n'
    assert not one(planned(only, VIDEO | {"camera": "A"})).shows


def test_where_the_lut_has_the_grade_outputs_without_it_are_ungraded_and_say_so(planned: Planned) -> None:
    clip = one(planned(BESIDE, LOG | {"lut": "row.cube", "lut_contains_grade": "yes"}))
    said = "ungraded in copy: the grade is in the recipe's LUT, which is not its own"
    assert said in clip.warnings and not any("in p3" in text for text in clip.warnings)
    refused = 'ungraded = "refuse"\n' + BESIDE
    ((_, error),) = planned(refused, LOG | {"lut": "row.cube", "lut_contains_grade": "yes"}).wrong
    assert error.key == "grade" and said in error.text


def test_a_log_picture_has_no_look_and_a_look_like_the_recipe_s_is_it(planned: Planned) -> None:
    recipe = output("main") + output("same", f'display = "{REC709}"') + output("flat", state="log")
    clip = one(planned(recipe, LOG))
    assert (dict(clip.shows), dict(clip.looks)) == ({}, {})


def test_a_lut_of_an_output_that_is_not_there_stops_the_request(planned: Planned) -> None:
    with pytest.raises(LutError, match="gone"):
        planned(output("main", 'lut = "gone.cube"'), LOG)


def test_rows_of_a_clip_that_differ_in_an_output_s_look_alone_are_two(planned: Planned) -> None:
    recipe = output("main") + output("up", 'look = "up"') + "[looks.up]\nexposure = 1\n"
    plan = planned(recipe, LOG, LOG | {"exposure": "0"})
    assert [clip.look_of("up").exposure for clip in plan.clips] == [1, 0] and plan.alike == 0
    assert planned(recipe, LOG, LOG).alike == 1


def test_an_output_that_sound_chooses_has_its_look(planned: Planned, monkeypatch: pytest.MonkeyPatch) -> None:
    """Circled by the recordist: what is made of the clip is known only once its sound is."""

    def circled(row: Row, sound: object) -> Row:
        return replace(row, cells={**row.cells, "circled": "yes"})

    monkeypatch.setattr(plan_row, "filled_from_sound", circled)
    recipe = output("main") + output("best", 'display = "P3-D65"\nonly = { circled = "yes" }')
    assert one(planned(recipe, LOG | {"circled": ""})).look_of("best").display == P3


def test_burn_in_names_are_each_output_s_own_and_so_are_identities(planned: Planned, day: Path) -> None:
    clip = one(planned('[look]\nshow_lut = "show.cube"\n' + BESIDE, LOG))
    assert own_fields(clip, "main") == {}
    assert own_fields(clip, "copy") == {"look": '"own", lut own.cube'}
    assert own_fields(clip, "p3") == {"look": '"show", display P3-D65'}
    recipe = prepare(Request(clip_list=day / "day.csv", recipe=str(day / "r.toml"))).recipe
    specs = output_specs(clip, recipe, Known(source="x", fields={"look": "main's"}, fonts={}))
    assert [spec.look for spec in specs] == ["", "lut own.cube", "display P3-D65"]
    assert [spec.fields.get("look", "") for spec in specs] == [
        "",
        '"own", lut own.cube',
        '"show", display P3-D65',
    ]  # type: ignore[union-attr]
    assert len({spec.identity for spec in specs}) == 3


def test_a_row_s_own_words_for_its_look_are_kept(planned: Planned) -> None:
    clip = one(planned(BESIDE, LOG | {"look": "day ext"}))
    assert own_fields(clip, "p3") == {"look": "day ext, display P3-D65"}


def test_what_the_recipe_says_of_luts_is_said_where_it_holds_for_an_output_s_own(planned: Planned) -> None:
    said = "in copy, LUT 'own' is read as the recipe's `look` says of LUTs (lut_input = S-Log3/S-Gamut3.Cine narrow)"
    look = '[look]\nshow_lut = "show.cube"\nlut_input = "S-Log3/S-Gamut3.Cine narrow"\n'
    clip = one(planned(look + BESIDE, LOG))
    assert [text for text in clip.warnings if text.startswith(said)]
    own = clip.look_of("copy").lut
    assert own is not None and (own.input, own.input_space) == ("narrow", "S-Log3/S-Gamut3.Cine")
    table = (
        output("main")
        + output("copy", 'look = "x"')
        + '[looks.x]\nshow_lut = "own.cube"\nlut_input = "full"\n'
    )
    clip = one(planned(look + table, LOG))
    assert not [text for text in clip.warnings if "LUT 'own'" in text]
    own = clip.look_of("copy").lut
    assert own is not None and (own.input, own.input_space) == ("full", "")
