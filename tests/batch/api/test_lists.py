"""`plan`, `look` and `grades` by API: what the commands say with `--json`, as values; and not a word on the outputs."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import rushlight
from here import run, small_day, write_list


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two clips, of which one has a grade, a row of which the original is absent, and one that is no movie."""
    folder = tmp_path_factory.mktemp("lists")
    small_day(folder)
    (folder / "A001C004.mov").write_bytes(b"nothing")
    rows = {"A001C001": {"cdl": "set.cdl"}, "A001C002": {}, "A001C003": {}, "A001C004": {}}
    (folder / "set.cdl").write_text(
        '<ColorDecisionList xmlns="urn:ASC:CDL:v1.01"><ColorDecision><ColorCorrection id="one"><SOPNode>'
        "<Slope>1.1 1 1</Slope><Offset>0 0 0</Offset><Power>1 1 1</Power></SOPNode></ColorCorrection>"
        "</ColorDecision></ColorDecisionList>"
    )
    return write_list(folder / "odd.csv", rows)


def said(*arguments: object) -> tuple[int, dict[str, object]]:
    code, text = run(*arguments, "--json")
    return code, json.loads(text[text.index("{") :])


def test_plan_is_what_the_command_says(day: Path, capfd: pytest.CaptureFixture[str]) -> None:
    found = rushlight.plan(day, recipe=day.parent / "two.toml", media=day.parent)
    assert capfd.readouterr() == ("", "")
    assert [clip.row.clip for clip in found.clips] == ["A001C001.mov", "A001C002.mov"]
    assert [(u.clip, u.line) for u in found.wrong] == [("A001C003.mov", 4)]
    assert [(u.clip, type(u.error)) for u in found.failed] == [("A001C004.mov", rushlight.SourceError)]
    code, document = said("plan", day, "--recipe", day.parent / "two.toml", "--media", day.parent)
    document["estimate"]["free_bytes"] = found.document()["estimate"]["free_bytes"]  # type: ignore[index]
    assert (code, document) == (1, json.loads(json.dumps(found.document())))
    assert found.counts == document["counts"]


def test_options_take_one_or_several(day: Path) -> None:
    recipe = day.parent / "two.toml"
    one = rushlight.plan(day, recipe=recipe, only="clip=A001C001.mov", grades=str(day.parent / "set.cdl"))
    several = rushlight.plan(
        str(day), recipe=recipe, only=("clip=A001C001.mov",), grades=[day.parent / "set.cdl"]
    )
    assert one.counts == several.counts
    assert one.counts["planned"] == 1


def test_look_is_what_the_command_says(day: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    found = rushlight.look(day, "a001c001", export=tmp_path / "one.cube", recipe=day.parent / "two.toml")
    assert capfd.readouterr() == ("", "")
    assert found.export == tmp_path / "one.cube"
    assert (tmp_path / "one.cube").read_text().count("\n") > 33**3
    arguments = ("look", day, "a001c001", "--recipe", day.parent / "two.toml")
    assert said(*arguments, "--export", tmp_path / "one.cube") == (0, found.document())


def test_grades_is_what_the_command_says(
    day: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    aside: list[str] = []
    found = rushlight.grades(day, to=tmp_path / "g", on_set_aside=lambda row: aside.append(row.clip))
    assert capfd.readouterr() == ("", "")
    assert aside == [u.clip for u in found.set_aside] == ["A001C003.mov", "A001C004.mov"]
    assert {f.name for f in found.files} == {p.name for p in (tmp_path / "g").iterdir()}
    assert said("grades", day, "--to", tmp_path / "g") == (1, found.document())


@pytest.mark.parametrize(
    ("call", "error", "says"),
    [
        (lambda day: rushlight.plan(day.parent / "no.csv"), rushlight.InputError, "no such list"),
        (lambda day: rushlight.plan(day, media="no-such-folder"), rushlight.InputError, "--media takes"),
        (lambda day: rushlight.plan(day, recipe="no-such"), rushlight.InputError, "no-such"),
        (lambda day: rushlight.plan(day, medai="x"), TypeError, "there is no option medai"),
        (lambda day: rushlight.look(day, "A001C009"), rushlight.InputError, "has no clip 'A001C009'"),
        (lambda day: rushlight.look(day, "A001C004"), rushlight.SourceError, "A001C004"),
        (lambda day: rushlight.grades(day, to=day), rushlight.InputError, "--to takes a folder"),
        (lambda day: rushlight.verify(day.parent), rushlight.InputError, "nothing was rendered here"),
        (lambda day: rushlight.report(day.parent), rushlight.InputError, "nothing was rendered here"),
    ],
)
def test_what_is_wrong_is_an_error_of_the_tree(
    day: Path, call: object, error: type[Exception], says: str, capfd: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(error, match=says):
        call(day)  # type: ignore[operator]
    assert capfd.readouterr() == ("", "")
