"""The reference's pages on burn-in and encodings, made from the code as reference.py makes the others."""

from __future__ import annotations

from rushlight.batch.api.catalogue import encodings
from rushlight.pipelines.burnin.text_fields import CARD_FIELDS, DAY_FIELDS, FIELDS, RUNNING

__all__ = ["FIELD_WORDS", "burnin_page", "encodings_page"]

FIELD_WORDS = {
    "clip": "the clip, as its file is named",
    "reel": "reel, of the header or the list",
    "scene": "scene",
    "take": "take",
    "camera": "camera",
    "capture_rate": "frames a second in the camera, where it is another than the clip's",
    "date": "the day it was shot",
    "look": "all layers of the look, in words",
    "grade": "the grade's id, or what it is",
    "recipe": "name of the recipe",
    "note": "note",
    "sound": "take of production sound, `camera sound` or `no sound`",
    "production": "name of the production",
    "day": "shooting day",
    "unit": "unit",
    "day_title": "production, day and unit in one",
    "timecode": "timecode of the frame",
    "frame": "number of the frame, counted from the clip's first",
    "source_frame": "number of the frame in the original",
}
BURNIN = """# Burn-in

{made}
What is drawn over a movie's pictures stands in its recipe; colour is measured before it is drawn, so that no digest depends on it. A clip's
text, a watermark, lines that guide the eye, and a slate card ahead of it:

```toml
[[output]]
name = "viewing"
make = "movie"
codec = "h264"
container = "mp4"
size = "1280x720"
card = 24

[output.burnin]
watermark = "VIEWING COPY"
text = [
    {{ at = "top-left", text = "{{clip}}" }},
    {{ at = "top-right", text = "{{scene}}/{{take}}", backing = "box" }},
    {{ at = "bottom", text = "{{timecode}}", size = 0.05 }},
]

[output.guides]
aspect = 2.39
shade = 0.5
```

`at` is one of top-left, top, top-right, left, centre, right, bottom-left, bottom, bottom-right; `size` the height of the text as a share of
the raster's. Every setting: `rushlight help recipes`, under Burnin, TextLine and Guides.

A field in braces is one of these, or any column of the list; one that neither is, is refused before anything is read.

| field | shows | |
|---|---|---|
{fields}

A field that is empty shows nothing. What changes on every frame cannot be in a watermark. A watermark is drawn once and laid over each frame; it
tells who a copy is for, and does not hinder copying.

A slate card (`card`, in frames) shows production, reel, camera, scene, take, date, timecode, length, encoding, look, grade, recipe and note, with
grey and colour patches as the look shows them. It moves the first timecode back by as many frames: an output that is relinked takes none.
"""
ENCODINGS = """# Encodings

{made}
An encoding is a log curve, a gamut, and how the maker puts the curve into YCbCr codes. A list states it in the column `encoding`, a recipe or a
defaults file by the key; what none states is never guessed, and the clip is set aside. The names, and where each is published:

| encoding | black | grey | white | levels | source |
|---|---|---|---|---|---|
{rows}

black, grey, white: the 10-bit code (of 1023) of no light, 18 % and 90 % reflectance on the curve's own scale; of a scene-linear one, as light.
levels: how the maker puts the curve into YCbCr files, where he says so; `by tag`: the file's own range tag decides. A row's `levels` overrules.
Names are taken without regard to case, spaces and hyphens, and a curve's name alone where it has one gamut. `rushlight encodings --json` has the
gamuts and the adaptation.
"""


def burnin_page(made: str) -> str:
    """docs/reference/burn-in.md; `made` is the comment that says how it came to be."""
    kinds = {**dict.fromkeys(DAY_FIELDS, "of the day"), **dict.fromkeys(RUNNING, "of each frame")}
    kinds.update({name: "also on the slate card" for name in CARD_FIELDS})
    rows = (f"| `{{{name}}}` | {FIELD_WORDS[name]} | {kinds.get(name, '')} |" for name in FIELDS)
    return BURNIN.format(made=made, fields="\n".join(rows))


def encodings_page(made: str) -> str:
    """docs/reference/encodings.md."""
    rows = []
    for each in encodings():
        codes = " | ".join(
            f"{value / 1023:.2f}" if each.kind == "linear" else f"{value:.1f}"
            for value in (each.black, each.grey, each.white)
        )
        rows.append(f"| {each.name} | {codes} | {each.levels or 'by tag'} | {each.source} |")
    return ENCODINGS.format(made=made, rows="\n".join(rows))
