"""Defaults by camera, reel and file pattern: who overrules whom, ties, slips, and the whole way into a plan."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pictures import numbered, write_movie
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.batch.plan.request import Request
from rushlight.batch.run.kept_inputs import keep_inputs
from rushlight.pipelines.errors import LutError, RecipeError, RushlightError
from rushlight.pipelines.recipe.read_recipe import parse_defaults, shipped_recipes

CUBE = "LUT_3D_SIZE 2\n" + "".join(f"{r} {g} {b}\n" for b in (0, 1) for g in (0, 1) for r in (0, 1))
ROWS = "clip,encoding,levels\nA001C001,,\nA001C002,V-Log,\nB002C001,,full\n"


@pytest.fixture(scope="module")
def card(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("card")
    (place / "second unit").mkdir()
    for name in ("A001C001", "A001C002", "second unit/B002C001"):
        write_movie(place / f"{name}.mov", [numbered(k) for k in range(2)], reel=Path(name).name[:4])
    return place


def planned(card: Path, place: Path, side: str, rows: str = ROWS, tables: str = "") -> Prepared:
    (place / "day.csv").write_text(rows)
    (place / "day.toml").write_text(side)
    (place / "show.cube").write_text(CUBE)
    recipe = "overnight"
    if tables:
        recipe = str(place / "recipe.toml")
        Path(recipe).write_text(shipped_recipes()["overnight"] + tables)
    request = Request(
        clip_list=place / "day.csv",
        media=(card,),
        recipe=recipe,
        defaults=place / "day.toml" if side else None,
    )
    return prepare(request.checked())


def test_the_narrower_overrules_and_the_row_overrules_all(card: Path, tmp_path: Path) -> None:
    side = """
[[default]]
camera = "a"
encoding = "ARRI LogC3"
exposure_index = 400
levels = "full"
[[default]]
reel = "A0*"
levels = "narrow"
[[default]]
file = "second unit/*.MOV"
encoding = "S-Log3 S-Gamut3.Cine"
lut = "show.cube"
"""
    tables = '[[default]]\nfile = "A001C001*"\nencoding = "V-Log"\n'  # the side file is trusted more, even so
    prepared = planned(card, tmp_path, side, tables=tables)
    assert not prepared.plan.wrong and not prepared.plan.broken
    first, second, third = prepared.plan.clips
    assert (first.look.encoding, first.look.exposure_index) == (first.signal.encoding.name, 400)
    assert "LogC3" in first.look.encoding
    assert first.signal.encoding_from.startswith(f"{tmp_path / 'day.toml'} default[0]")
    assert (first.signal.levels, second.signal.levels, third.signal.levels) == ("narrow", "narrow", "full")
    assert "V-Log" in second.look.encoding and second.signal.encoding_from == "the list"
    assert "S-Log3" in third.look.encoding
    assert third.look.lut and third.look.lut.name == "show" and first.look.lut is None
    (tmp_path / "out").mkdir()
    keep_inputs(prepared, tmp_path / "out")
    kept = list((tmp_path / "out" / "log" / "inputs").glob("*.defaults.toml"))
    assert len(kept) == 1 and kept[0].read_text() == side


def test_recipe_tables_and_a_table_that_fits_nothing(card: Path, tmp_path: Path) -> None:
    tables = '[[default]]\nreel = "[AB]00?"\nencoding = "LogC3"\n[[default]]\ncamera = "Z"\nlevels = "full"\n'
    plan = planned(card, tmp_path, "", tables=tables).plan
    assert len(plan.clips) == 3
    assert any("default[1]" in w and 'camera = "Z"' in w and "fits no clip" in w for w in plan.warnings)


def test_a_tie_is_an_error_of_the_row_unless_the_row_says(card: Path, tmp_path: Path) -> None:
    side = "".join(
        f'[[default]]\nreel = "{r}"\nencoding = "{e}"\n' for r, e in (("A*", "LogC3"), ("*1", "V-Log"))
    )
    plan = planned(card, tmp_path, side + '[[default]]\ncamera = "B"\nencoding = "V-Log"\n').plan
    ((row, error),) = plan.wrong
    assert row.clip == "A001C001" and "default[0]" in str(error) and "default[1]" in str(error)
    assert [c.stem for c in plan.clips] == ["A001C002", "B002C001"]


@pytest.mark.parametrize(
    ("text", "key", "wanted"),
    [
        ('[[default]]\nencoding = "LogC3"\n', "default[0]", "one of camera, reel and file"),
        ('[[default]]\ncamera = "A"\n', "default[0]", "states nothing"),
        ('[[default]]\ncamera = "A"\nencodng = "LogC3"\n', "default[0].encodng", "'encoding'"),
        ('[[default]]\ncamera = "A"\nlevels = "legal"\n', "default[0].levels", "narrow"),
        ("", "default", "missing"),
        ("[[default]", "", "not TOML"),
    ],
)
def test_a_wrong_document(text: str, key: str, wanted: str) -> None:
    with pytest.raises(RecipeError) as caught:
        parse_defaults(text, file="day.toml")
    assert (caught.value.key or "") == key and wanted in str(caught.value)


def test_what_it_names_must_be_there(card: Path, tmp_path: Path) -> None:
    with pytest.raises(RushlightError, match=r"default\[0\].encoding"):
        planned(card, tmp_path, '[[default]]\ncamera = "A"\nencoding = "no such curve"\n')
    with pytest.raises(LutError, match=r"nowhere\.cube"):
        planned(card, tmp_path, '[[default]]\ncamera = "A"\nlut = "nowhere.cube"\n')


@given(st.text(max_size=200))
def test_junk_is_a_clear_error_or_tables(text: str) -> None:
    try:
        assert parse_defaults(text)
    except RecipeError:
        pass
