"""Names by template: what each form and an empty field give, and what is no name on some system, said before the night."""

from __future__ import annotations

import re
import string
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.portable_name import safe_name
from rushlight.pipelines.recipe.name_template import filled, filled_path, name_fields, parse_file, parse_path
from rushlight.pipelines.recipe.read_recipe import parse_recipe

VALUES = {
    **{"clip": "A001C003", "scene": "12A", "take": "7B", "camera": "a", "reel": "A001"},
    **{"day": "2026-05-04", "date": "20260504", "unit": "", "note": "good / best: 2nd?", "number": "41"},
}
OUTPUT = '[[output]]\nname = "v"\nmake = "movie"\ncodec = "h264"\n'


@pytest.mark.parametrize(
    ("template", "name"),
    [
        ("{scene}_{take}_{clip}", "12A_7B_A001C003"),
        ("{Scene}-T{ take:3 }", "12A-T007B"),
        ("{number:4}", "0041"),
        ("{number:02}", "41"),
        ("{clip:lower}{camera:upper}", "a001c003A"),
        ("{day:%y%m%d}_{date:%Y-%j}", "260504_2026-124"),
        ("{scene:lower|none}_{unit:upper|main unit}", "12a_main unit"),
        ("{note}", "good _ best_ 2nd_"),
        # an empty field takes a separator with it that would stand double or at an end
        ("{unit}_{scene}_{clip}", "12A_A001C003"),
        ("{scene}_{unit}_{clip}", "12A_A001C003"),
        ("{scene} - {unit} - {clip}", "12A - A001C003"),
        ("{scene}_{unit}", "12A"),
        ("{unit}_{unit}", ""),
        ("cam{unit}_{clip}", "cam_A001C003"),
        ("{scene}{unit}_{clip}", "12A_A001C003"),
        ("{unit}", ""),
    ],
)
def test_what_a_template_gives(template: str, name: str) -> None:
    made = filled(parse_file(template), VALUES)
    assert (made.name, made.doubts) == (name, ())


def test_what_the_docs_say_that_templates_give() -> None:
    page = (
        (Path(__file__).parents[3] / "docs/reference/recipes.md")
        .read_text()
        .partition("## Names and folders")[2]
    )
    values = {"scene": "12A", "take": "7B", "camera": "a", "day": "2026-05-04", "number": "41"}
    rows = re.findall(r"\| `(.+)` \| `(.+)` \|", page)
    assert len(rows) == 4
    assert [filled(parse_file(template), values).name for template, _ in rows] == [name for _, name in rows]
    recipe = parse_recipe(page.partition("```toml")[2].partition("```")[0])
    assert [output.path for output in recipe.output] == ["{day:%y%m%d}/{camera}/{reel}", "{scene|no scene}"]


def test_an_empty_folder_is_left_out() -> None:
    path = parse_path("{day:%y%m%d}/{unit}/{camera:upper}-cam/{reel}")
    assert filled_path(path, VALUES).name == "260504/A-cam/A001"
    assert filled_path(parse_path("{unit}/{nobody}"), VALUES).name == ""


@pytest.mark.parametrize(
    ("value", "name"),
    [
        ("..", "_"),
        (".", "_"),
        ("../../etc", "_.._.._etc"),
        ("con", "_con"),
        ("NUL.x", "_NUL.x"),
        (".hidden", "_.hidden"),
    ],
)
def test_a_value_neither_leads_out_nor_is_reserved(value: str, name: str) -> None:
    made = filled(parse_file("{scene}"), {"scene": value}).name
    assert "/" not in made and made not in ("", ".", "..") and made == safe_name(made)
    assert made == name or value == "../../etc"


def test_a_history_of_hashes_keeps_its_folder() -> None:
    assert filled_path(parse_path("{scene}"), {"scene": "ASCMHL"}).name == "_ASCMHL"


def test_what_is_no_date_stands_as_it_is_and_is_said() -> None:
    made = filled(parse_file("{day:%y%m%d}_{clip}"), {**VALUES, "day": "day 3"})
    assert made.name == "day 3_A001C003"
    assert made.doubts == (
        "{day:%y%m%d} needs a date such as 2026-05-04, not 'day 3', which stands as it is",
    )
    assert filled(parse_file("{day:%y}"), {"day": "2026-13-04"}).name == "2026-13-04"


def test_a_name_that_is_too_long_is_cut_and_that_is_said() -> None:
    made = filled(parse_file("{note}"), {"note": "é" * 150})
    assert len(made.name.encode()) == 200 and "over 200 bytes" in made.doubts[0]


@pytest.mark.parametrize(
    ("key", "template", "words"),
    [
        ("file", "{scene}/{clip}", "folders go into `path`"),
        ("file", "a\\\\b", "folders go into `path`"),
        ("path", "/{day}", "starts in the output's own folder"),
        ("path", "C:/x", "starts in the output's own folder"),
        ("path", "{day}//{reel}", "a folder without a name"),
        ("path", "{day}/", "a folder without a name"),
        ("path", "{day}/../x", "nothing leads out"),
        ("path", ".", "nothing leads out"),
        ("file", ".{clip}", "begins with a dot"),
        ("file", "{clip}.", "ends with a dot or a space"),
        ("path", "{day} /x", "ends with a dot or a space"),
        ("file", "{clip}?", "do not take in a name"),
        ("file", "{day:%H:%M}", "a form is upper, lower"),
        ("file", "a:b", "do not take in a name"),
        ("file", "{clip|a:b}", "do not take in a name"),
        ("path", "con", "is a reserved name"),
        ("path", "ascmhl", "is a reserved name"),
        ("file", "{clip", "has a { that belongs to no field"),
        ("file", "{}", "names no field"),
        ("file", "{clip:title}", "a form is upper, lower"),
        ("file", "{clip:}", "a form is upper, lower"),
        ("file", "{day:%A}", "a form is upper, lower"),
        ("file", "x" * 201, "longer than 200 characters"),
        ("file", "{frame}", "names a still"),
        ("path", "{frame}", "names a still"),
    ],
)
def test_what_is_no_name_is_told_by_its_key(key: str, template: str, words: str) -> None:
    with pytest.raises(RecipeError) as raised:
        parse_recipe(f'{OUTPUT}{key} = "{template}"', file="r.toml")
    assert raised.value.key == f"output[0].{key}" and words in raised.value.text, raised.value.text


def test_stills_are_named_by_frame() -> None:
    stills = '[[output]]\nname = "s"\nmake = "stills"\nkinds = ["jpeg"]\n'
    assert (
        parse_recipe(stills + 'file = "{clip}_{frame}_{timecode}"').output[0].file
        == "{clip}_{frame}_{timecode}"
    )
    with pytest.raises(RecipeError) as raised:
        parse_recipe(stills + 'path = "{source_frame}"')
    assert raised.value.key == "output[0].path"


def test_names_are_no_part_of_a_recipes_digest() -> None:
    """A recipe that says nothing of names has the digest that it always had, and names change no picture."""
    plain = parse_recipe(OUTPUT)
    assert plain.digest() == parse_recipe(OUTPUT + 'path = "{day}"\nfile = "{scene}"').digest()
    assert plain.digest() != parse_recipe(OUTPUT + "quality = 20").digest()


def test_fields_of_a_template() -> None:
    assert name_fields("{Day:%y}/{camera|x}/{day}") == ("day", "camera")


FIELDS = st.sampled_from(["{scene}", "{take:3}", "{clip:upper}", "{day:%y%m%d}", "{note|none}", "{unit}"])
ANY = st.text(st.characters(codec="utf-8") | st.sampled_from("./\\:~ _-\u0301\u200b\x00{}|"), max_size=60)


@settings(max_examples=300)
@given(
    st.text(string.printable, max_size=30)
    | st.lists(FIELDS | st.sampled_from("/_-. .."), max_size=8).map("".join)
)
def test_any_template_is_read_or_refused_in_words(text: str) -> None:
    try:
        parse_path(text)
        parse_file(text.replace("/", "_"))
    except ValueError as error:
        assert str(error)


@settings(max_examples=300)
@given(
    st.lists(FIELDS | st.sampled_from(["_", "-", " x ", "T"]), min_size=1, max_size=6).map("".join),
    st.lists(ANY, min_size=6, max_size=6),
)
def test_no_value_leads_out_of_its_folder(template: str, given_: list[str]) -> None:
    values = dict(zip(("scene", "take", "clip", "day", "note", "unit"), given_, strict=True))
    try:
        pieces = parse_file(template)
    except ValueError:
        return  # ends with a space
    made = filled(pieces, values).name
    assert made == "" or (made == safe_name(made) and "/" not in made and len(made.encode()) <= 201)
