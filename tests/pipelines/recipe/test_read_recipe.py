"""Recipes: what ships is right, and every fault of a wrong one is named by its key."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.recipe.model import MovieOutput
from rushlight.pipelines.recipe.read_recipe import load_recipe, parse_recipe, shipped_recipes

MOVIE = '[[output]]\nname = "a"\nmake = "movie"\ncodec = "dnxhr-lb"\n'


def test_what_ships_parses_and_says_what_it_is_for() -> None:
    for name in shipped_recipes():
        recipe, _, place = load_recipe(name)
        assert recipe.name == name and recipe.description and place == ""
    overnight, _, _ = load_recipe("overnight")
    assert [o.name for o in overnight.output] == ["editorial", "viewing", "stills"]
    editorial = overnight.output[0]
    assert (
        isinstance(editorial, MovieOutput) and editorial.burnin is None and str(editorial.size) == "1920x1080"
    )


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        (MOVIE.replace("dnxhr-lb", "dnxhr-lbb"), "output[0].codec", "did you mean 'dnxhr-lb'"),
        (MOVIE + 'size = "1920*1080"', "output[0].size", "WIDTHxHEIGHT"),
        (MOVIE + 'size = "1921x1080"', "output[0].size", "even"),
        (MOVIE + 'sise = "1920x1080"', "output[0].sise", "did you mean 'size'"),
        (MOVIE + 'container = "mp4"', "output[0].container", "mov or mxf"),
        (MOVIE + 'state = "log"', "output[0].state", "10-bit"),
        (MOVIE + 'state = "gradded"', "output[0].state", "'log', 'show' or 'graded'"),
        (MOVIE.replace('"movie"', '"film"'), "output[0].make", '"movie" or "stills"'),
        (MOVIE.replace('name = "a"\n', ""), "output[0].name", "missing"),
        (MOVIE.replace('"a"', '"log"'), "output[0]", "folder"),
        (MOVIE.replace('"a"', '"../x"'), "output[0]", "folder"),
        (MOVIE + MOVIE, "output", "collide"),
        ('rate = "fast"\n' + MOVIE, "rate", "24000/1001"),
        ('[look]\ndisplay = "Rec.710"\n' + MOVIE, "look.display", "did you mean"),
        ("[changes]\nheld = 'cut'\n" + MOVIE, "changes.held", "did you mean 'held_at'"),
        (MOVIE + "[output.frame]\nmodel = 'pad'", "output[0].frame.model", "did you mean 'mode'"),
        ("[look]\nclam = true\n" + MOVIE, "look.clam", "did you mean 'clamp'"),
        (
            MOVIE + "[output.burnin]\ntext = [{ at = 'middle', text = 'x' }]",
            "output[0].burnin.text[0].at",
            "centre",
        ),
        (
            "[look]\ndisplay = 'PQ BT.2100'\n[[output]]\nname = 'a'\nmake = 'stills'\nkinds = ['jpeg', 'png16', 'tiff16']",
            "output[0].kinds",
            "jpeg and tiff16 cannot say that a picture is PQ or HLG",
        ),
        (MOVIE + "channels = [1, 0]", "output[0].channels[1]", "greater than or equal to 1"),
        (MOVIE + "card = 24", "output[0].card", "breaks relinking"),
        (
            MOVIE.replace('"a"', '"Editorial 2"') + 'card = 24\n[output.burnin]\nwatermark = "x"',
            "output[0].card",
            "`editorial` in its name",
        ),
        (MOVIE + "card = -1", "output[0].card", "greater than or equal to 0"),
        (
            MOVIE.replace("dnxhr-lb", "prores-lt")
            + 'card = 24\nstate = "log"\n[output.burnin]\nwatermark = "x"',
            "output[0].card",
            "state log has none",
        ),
        ("", "output", "missing"),
        ("name = ", "", "not TOML"),
    ],
)
def test_every_fault_names_its_key(text: str, key: str, words: str) -> None:
    with pytest.raises(RecipeError) as caught:
        parse_recipe(text, file="night.toml")
    assert (caught.value.key or "") == key, str(caught.value)
    assert words in str(caught.value) and str(caught.value).startswith("night.toml")


def test_a_slate_card_is_off_unless_asked_for() -> None:
    """Of what ships, one recipe has one, which is there for it; any output with burn-in may."""
    for name, text in shipped_recipes().items():
        assert all(
            getattr(o, "card", 0) == (48 if name == "slated" else 0) for o in parse_recipe(text).output
        )
    carded = parse_recipe(MOVIE + 'card = 24\n[output.burnin]\nwatermark = "x"').output[0]
    assert isinstance(carded, MovieOutput) and carded.card == 24 and not carded.relinked


def test_all_faults_in_one_reading() -> None:
    with pytest.raises(RecipeError) as caught:
        parse_recipe(
            'rate = "x"\n[look]\ndisplay = "Rec.710"\n'
            + MOVIE.replace("dnxhr-lb", "dnxhr-lbb")
            + 'size = 3\n[[output]]\nname="b"\nmake="stills"\nkinds=["bmp"]'
        )
    lines = str(caught.value).splitlines()
    keys = ("rate", "output[0].size", "output[1].kinds[0]", "look.display", "output[0].codec")
    assert len(lines) == len(keys) and all(
        f"{key}: " in line for key, line in zip(keys, lines, strict=True)
    ), lines


def test_digest_ignores_words() -> None:
    one, two = parse_recipe('description = "x"\n' + MOVIE), parse_recipe('name = "y"\n' + MOVIE)
    assert one.digest() == two.digest() != parse_recipe(MOVIE + "dither = false").digest()


def test_a_missing_recipe_suggests() -> None:
    with pytest.raises(RecipeError, match="did you mean 'overnight'"):
        load_recipe("overnite")


@given(st.text(max_size=200))
def test_junk_is_a_recipe_error(text: str) -> None:
    with pytest.raises(RecipeError):
        parse_recipe(text)
