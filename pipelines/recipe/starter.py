"""A recipe to begin with, from a few answers: commented TOML, which holds as it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import get_args

from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.formats.codecs import CODECS
from rushlight.pipelines.recipe.model import StillsOutput
from rushlight.pipelines.recipe.read_recipe import parse_recipe
from rushlight.pipelines.toml_files import toml_text

__all__ = ["NONE", "Answers", "starter_recipe"]

NONE = "none"
KINDS = get_args(get_args(StillsOutput.model_fields["kinds"].annotation)[0])


@dataclass(frozen=True, kw_only=True)
class Answers:
    """What a recipe is to make, in the words of its keys; `none` leaves an output out."""

    description: str = "Proxies for editorial, a viewing copy and stills"
    editorial: str = "dnxhr-lb"
    viewing: str = "h264"
    stills: str = "jpeg"
    size: str = "1920x1080"
    watermark: str = ""
    lut: str = ""
    display: str = "Rec.709 BT.1886"


def starter_recipe(answers: Answers, *, file: str = "") -> str:
    """The text. RecipeError naming the answer that will not do, or where nothing at all is to be made."""
    parts = [HEAD.format(description=toml_text(answers.description))]
    parts.append(_look(answers))
    for name, made in (("editorial", answers.editorial), ("viewing", answers.viewing)):
        if made != NONE:
            _known(name, made, tuple(CODECS))
            container = CODECS[made].containers[0]
            text = EDITORIAL if name == "editorial" else VIEWING
            parts.append(
                text.format(
                    codec=made,
                    container=container,
                    size=toml_text(
                        answers.size if name == "editorial" or answers.editorial == NONE else "1280x720"
                    ),
                    quality=_quality(made),
                    watermark=toml_text(answers.watermark),
                    marked="" if answers.watermark else "# ",
                )
            )
    if answers.stills != NONE:
        kinds = [kind.strip() for kind in answers.stills.split(",")]
        for kind in kinds:
            _known("stills", kind, KINDS)
        listed = ", ".join(toml_text(kind) for kind in kinds)
        parts.append(STILLS.format(kinds=listed, size=toml_text(answers.size)))
    if len(parts) == 2:
        raise RecipeError("nothing is to be made: editorial, viewing and stills are all none")
    text = "\n".join(parts)
    parse_recipe(text, file=file)
    return text


def _known(key: str, given: str, there: tuple[str, ...]) -> None:
    if given not in there:
        raise RecipeError(f"{given!r} is not known; there are {', '.join(there)}, {NONE}", key=key)


def _quality(codec: str) -> str:
    quality = CODECS[codec].quality
    if quality is None:
        return ""
    return f"quality = {quality:g}               # the codec's own scale: less is better and larger\n"


def _look(answers: Answers) -> str:
    find_display(answers.display)
    lut = f"show_lut = {toml_text(answers.lut)}" if answers.lut else '# show_lut = "show.cube"'
    return LOOK.format(lut=lut, display=toml_text(answers.display))


HEAD = """# A recipe: what is made of each clip. Every key: `rushlight help recipes`.
# Try it on a chart: `rushlight recipes --check THIS_FILE --to FOLDER`.
description = {description}

# first = ["circled"]        # circled takes are made first
# encoding = "S-Log3/S-Gamut3.Cine"   # of clips for which no list or defaults state one
# ungraded = "refuse"        # a clip without a grade is set aside, not made with the show look alone
"""
LOOK = """# The show's look: what stands between the log picture and the monitor. Without a LUT it is ACES 2.0.
[look]
display = {display}
{lut}
# lut_input = "full"         # the levels that the LUT takes, and its encoding if not the clip's: "LogC3 narrow"
# grade_order = "before"     # the grade works on the log signal, ahead of the LUT
"""
EDITORIAL = """# For the editor: nothing is drawn over it, and timecode, reel and name are the original's, so that it relinks.
[[output]]
name = "editorial"
make = "movie"
codec = "{codec}"
container = "{container}"
size = {size}
{quality}sound = "copy"               # all tracks; "mix" for two channels
# frame = {{ mode = "pad" }}   # or "fill", "stretch"; desqueeze = 2.0 for anamorphic lenses
"""
VIEWING = """# To look at: smaller, with burn-in.
[[output]]
name = "viewing"
make = "movie"
codec = "{codec}"
container = "{container}"
size = {size}
{quality}sound = "mix"
# card = 48                  # frames of a slate card ahead of the clip

[output.burnin]
{marked}watermark = {watermark}
{marked}watermark_opacity = 0.6      # unstated it is 0.3, which bright or busy pictures hide
text = [
    {{ at = "top-left", text = "{{clip}}" }},
    {{ at = "top-right", text = "{{scene}} {{take}}" }},
    {{ at = "bottom", text = "{{timecode}}", size = 0.05 }},
]
"""
STILLS = """# Stills, by the exact evaluation of the look.
[[output]]
name = "stills"
make = "stills"
kinds = [{kinds}]
at = ["middle"]              # first, middle, last, list (the row's own)
size = {size}
"""
