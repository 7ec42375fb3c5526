"""The pages of docs/reference that are made from the code: `python -m tests.support.reference --write`.

Keys, types, limits and defaults come from the models; words from a field's description, else from the comment beside it,
else from the list here, which is for settings whose name says nearly all.
"""

from __future__ import annotations

import ast
import importlib
import inspect
import io
import sys
import tokenize
from collections.abc import Collection, Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel

from rushlight.batch.lists.list_columns import CHOICES
from rushlight.batch.lists.list_columns import COLUMNS as LIST_COLUMNS
from rushlight.batch.records.events import AnyEvent
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.report.batch_csv import COLUMNS as REPORT_COLUMNS
from rushlight.batch.report.camera_report import COLUMNS as CAMERA_COLUMNS
from rushlight.batch.report.clip_table import COLUMNS as CLIP_COLUMNS
from rushlight.pipelines.job.clip_metadata import CLIP_METADATA, MOVIE_KEYS
from rushlight.pipelines.job.still_metadata import EXR_NAMES, EXR_NUMBERS, TAGS, XMP_NAMES
from rushlight.pipelines.originals.camera_header import HEADER_FACTS
from rushlight.pipelines.recipe.day_document import DayDocument
from rushlight.pipelines.recipe.model import Recipe
from rushlight.pipelines.recipe.read_recipe import shipped_recipes

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "docs" / "reference"
COLUMNS_BEGIN = (
    "<!-- columns: made by `python -m tests.support.reference --write`; changes to the table are lost -->\n\n"
)
COLUMNS_END = "\n<!-- end of columns -->"
KEYS_BEGIN = (
    "<!-- keys: made by `python -m tests.support.reference --write`; changes to the table are lost -->\n\n"
)
KEYS_END = "\n<!-- end of keys -->"
MADE = "<!-- made by `python -m tests.support.reference --write`; changes here are lost -->\n"

LOOKS_PART = """## Several looks

Each output shows the recipe's `[look]` unless it says otherwise:

```toml
[look]
show_lut = "show.cube"                # for Rec.709, the display of the show

[looks.producer]                      # a key that is not stated is that of [look]
show_lut = "producer.cube"
exposure = 0.3

[[output]]
name = "editorial"                    # the show's look
make = "movie"
codec = "dnxhr-lb"

[[output]]
name = "for the producer"
make = "movie"
codec = "h264"
look = "producer"

[[output]]
name = "projection"                   # the show LUT's picture in the light of another display
make = "movie"
codec = "prores-422"
display = "P3-D65"

[[output]]
name = "hdr"                          # no SDR LUT: the grade through ACES 2.0
make = "movie"
codec = "hevc-10"
lut = "none"
display = "PQ BT.2100"

[[output]]
name = "log picture"
make = "movie"
codec = "prores-422"
state = "log"
```

One decode feeds all, and outputs of equal look, state, raster and framing share one picture. `look` names a table; `lut` and `display` are short for one that differs
in these alone, and lie over the table's where both are stated. The grade is the clip's in every look.

A LUT is for the display that it was stated beside, unless `lut_output` says more: under another `display` its picture is shown in that display's light. Between SDR and HDR
no conversion is defined, so an HDR output under an SDR LUT is refused: give it a `lut` that is made for it, or "none". A row's `lut` stands for the recipe's, not for one that
an output or its table states. Where a row's LUT has the grade in it, outputs without that LUT are ungraded, and `plan` says so. Finished video has no LUT but
its row's, whatever the output; an HDR output cannot show it, and the row is set aside unless `only` keeps it from there.

`plan` says which outputs show another look, `rushlight look LIST CLIP --output NAME` what it does to known colours. The record's `look` and `patches` are the recipe's; `looks` has the others by
name, each with its numbers, digest, patches and the checksum of its own pictures. `verify` holds each file to its own. Changing a look makes the files that show it again, and no
others. With one look, files, identities and records are what they always were.
"""

NAMES_PART = """## Names and folders

A file lies in the folder of its output and has the clip's own name. Templates say otherwise:

```toml
[[output]]
name = "viewing"
make = "movie"
codec = "h264"
path = "{day:%y%m%d}/{camera}/{reel}"
file = "{scene}_{take}_{clip}"

[[output]]
name = "stills"
make = "stills"
kinds = ["jpeg"]
at = ["list"]
path = "{scene|no scene}"
file = "{clip}_{timecode}"
```

Fields are those of burn-in and the list's columns, and `{number}`, the number of the clip's row in its list. `{timecode}` has dots; in a still's
`file` it is the still's own, as are `{frame}`, counted from the clip's first, and `{source_frame}`. Stills that neither frame nor timecode tells
apart end in their frame's number. Of scene `12A`, take `7B`, camera `a`, day `2026-05-04`, row 41 and no unit:

| template | gives |
|---|---|
| `{scene}_{take:3}` | `12A_007B` |
| `{camera:upper}-{scene:lower}` | `A-12a` |
| `{day:%Y-%m}_{number:4}` | `2026-05_0041` |
| `{scene}_{unit}_{take}` | `12A_7B` |

An empty field gives nothing, and a separator (`_`, `-`, `.` or a space) that would then stand double or at an end goes with it; `{unit|main unit}`
says what stands there instead. A folder of which every field is empty is left out, and a file of which every field is has the clip's name. A date's
form takes %Y, %y, %m, %d and %j; what is no date stands as it is, and `plan` says so.

Names hold on Linux, macOS, Windows, cards and shares: what some system does not take in a name is `_` in its place when it comes with a value, and
refused by its key when it stands in the template; a part of over 200 bytes is cut, and `plan` says so. Nothing leads out of the output's folder.

`plan` and `render` check all names before the night, as a disk has them that takes upper and lower case, composed and decomposed letters for
one; those of other lists of the folder and of what is delivered count. Clips of one name that would meet go to folders of their reels, as they do
without templates. Of others that would meet, the one that has the file already, else the first, keeps its name, and the others have their own
names behind (`12_3_B001C007`); each is a warning. Where even that is taken, the row is set aside.

Outputs that an editor relinks keep the clip's own name unless `file` says otherwise; `path` is safe for them.

A name is no part of what a file is: a new template, or a row that has another scene now, makes nothing again. The file moves to its new name,
with its record; the old name is gone, also from the hash manifest, which begins anew. What shows the scene in its picture is made again under the new
name, and the old file is a revision like any other. Where an old name goes to another clip, the old file is put by first. A file of
somebody else's is never replaced by a move.
"""

DAY_PAGE = """# The day

{made}
A shooting day is a small TOML file beside its media, which every command takes in place of a list or of an output folder:

```toml
production = "The Lamp Room"
day = "12"
unit = "main"
media = ["cards"]
sound = ["sound"]
grades = ["grades"]
recipes = ["overnight"]
out = "out"

[[default]]
camera = "A"
encoding = "S-Log3/S-Gamut3.Cine"
```

    rushlight day new cards --to day.toml
    rushlight plan day.toml
    rushlight render day.toml
    rushlight verify day.toml

`day new` writes one to begin with, from the headers of a folder: its cameras, what their headers suggest (as comments, for a person to
check), frame rates and sound folders; never over a file that is there. `plan` says once a camera what is still missing, with the lines.
`rushlight day run day.toml` takes cards in as they come and renders them until Ctrl-C ([states](states.md)); `render` makes what is there now, once.

Paths are relative to the file. An option overrules its key: `--recipe stills` takes the place of `recipes`, `--defaults FILE` that of the
`[[default]]` tables. Without `list`, every original under `media` is a clip; with one, `day run`
waits for a row whose card has not come, and names at the end what never came. `sound`, `grades` and single folders of `media` that are not
there yet are left out, and said. Of several recipes each has a folder of its own name in `out`; `look` and `grades` take the first,
`verify`, `report` and `serve` all of them.
The same file serves as `--defaults` of a list.

Scene, take, circled and note of a clip come from its row, else from `tables` (CSV with a column `clip`, joined by name; with columns of your
own, but none that decides on a picture), else from a file name that spells both out (`Sc12A_Tk3`), else from the sound that was matched
(SCENE, TAKE, CIRCLED and NOTE of its iXML; they find no grade). Tables may come later: what shows the new words is made again, of everything
else the record alone is renewed. A clip in no table is made all the same, and a table that is wrong costs no clip. The record's `row_from`
and `plan` say who stated each.

Pages, tables, the summary, slate cards and files of grades are titled by it. In burn-in, {{production}}, {{day}}, {{unit}} and {{day_title}} are
the day's; a row's column of that name overrules them.

`[tell]` says who is told of the night, by mail or webhook: [Telling](telling.md). `rushlight day tell day.toml --test` tries it. `[space]` says what
`rushlight space day.toml --remove` clears: [Space](space.md).

{keys}"""

CAMERA_PAGE = """# The camera report

{made}
`report/cameras.html` is a page a day: every original by camera and card, with scene, take, timecode, length, frames a second, lens, stop, ISO, white
balance, shutter and note, and how much each card and camera has. `report/cameras.csv` is the same as a table, with who states each fact. Both are made
of the records alone, with the other pages at the end of each run and by `rushlight report DIR`; `index.html` leads to them.

A clip that was not delivered is in it as well, as far as its record knows it; one whose original did not open has no header. What a list states goes
before [the header](originals.md); a cell that comes later is in the report with the next run, and makes no file again. Clips that an older version made
have what their rows say: their records hold no header.

| column | |
|---|---|
{columns}

It is no copy log and no proof: **proxies are no backup**, and what a header states is what the camera was set to, not what a person saw.
"""

EDITOR_PAGE = """# What the editor gets

{made}
In each folder of movies, beside the files:

- `clips.csv`, the clip table: a line a file, for a spreadsheet, a script or whatever takes in a table.
- `clips.otio`, the same as an OpenTimelineIO timeline: all clips of the folder one after another, each with its media.

Both are written at the end of each run from the record, and again when something new is known: a clip, a revision, a note in the list. A
run that finds nothing new leaves them as they are. They are files of the delivery and stand in its hash manifest (`ascmhl/`); with another
table the manifest's history begins anew, as with any file made again, and the old one is kept in `log/manifests/`. Write your own notes
elsewhere: a table is made anew as a whole. A folder of an older version gets its tables with the first clip that is made or renewed there.

## The clip table

RFC 4180 (commas, CRLF, quotes doubled), UTF-8, one header line. Text that a spreadsheet would run as a formula has an apostrophe in front.
What cannot be seen is written out (`\\u202e`), here as in the timeline and in MXF.

| column | |
|---|---|
{columns}

## The timeline

One video track; each clip has one ExternalReference. `target_url` is relative to the `.otio` and written as a URL (a space is `%20`).
`available_range` is the whole file, counted in frames since midnight at the file's own rate; whether its timecode is drop-frame, say `start`
in the metadata and the table. The clip itself is the range of the row's `in` and `out`, without handles (a subclip), or the whole file
after its slate card. `metadata.rushlight` has reel, UMIDs, scene, take, the colour digest, look, display and state of the pictures. There is
no `cdl` in it: a grade that is in the pictures must not be put on them again.

## Metadata in the files

Every movie and still states these, as far as anybody says them:

| name | MOV, MP4 | EXR | TIFF, EXIF | XMP | |
|---|---|---|---|---|---|
{metadata}

`ffprobe FILE`, or the FFmpeg command, shows those of movies; MP4 has the reel as `reel` beside them. In MXF they are comments of the clip's package.

Stills: an EXR has the standard attributes of OpenEXR, and the plain name where there is none; `timeCode`, `framesPerSecond`, `captureRate` and
`reelName` beside them, and `comments` with clip and timecode. It holds scene light, so its `state` is `scene light`: nothing of the look is in it.
JPEG, PNG and TIFF have one XMP packet: the properties above, and every name in a namespace of its own (`rushlight`,
`urn:rushlight:clip:1:`); clip as `dc:title`, reel as `xmpDM:tapeName`. A TIFF has the tags above as well; a JPEG those of make, model and numbers. Where
a standard wants a number and there is none (an `iso` of `auto`, take `3B`), its name is left out and the plain one stays; `xmpDM:good` is there for a circled take. No image sequence is delivered but EXR stills, so no DPX.

What cannot be seen is written out (`\\u202e`), and a text is cut at 4,000 characters. All this is no part of what makes a file what it is: a note, a lens
or a title that comes later makes no file again and stands in tables, record and report alone; a file that is made again for another reason,
its sound too, states what is known then. Files of older versions stay as they are. No picture, colour checksum or UMID depends on any of it.
[Why](../decisions/0055-metadata-is-no-identity.md).

## MXF

`container = "mxf"` gives OP1a (SMPTE ST 378) with the codecs whose table says so, picture and mono sound tracks in one file:

| where | what |
|---|---|
| material package | the clip: its name, timecode, and the clip's metadata as comments |
| file package | the file and its tracks |
| tape package | the reel: its name and timecode; not there without a reel |

Each package has a UMID (SMPTE ST 330) that is a function of what it names: that of the reel is of its name alone, so that one reel is one
tape in every file of every night; those of clip and file are of the clip and of all that makes the file what it is. The same job gives the
same bytes; a revision has UMIDs of its own. Two reels that bear one name are one tape to who links by it: name reels apart.

Comments are those of the night in which the file was made: a note that changes later is in the tables, and the file stays as it was
delivered. MXF of older versions, whose UMIDs are all alike, are not made again by themselves; link those by reel and timecode.

OP-Atom (a file a track) is not made: FFmpeg writes each track as a clip of its own, and that readers take them for one under a common UMID
is untried.

pyaaf2 and two builds of FFmpeg read reel, timecode, names, comments and UMIDs of each codec in the tests; 300 clips of five cameras with
equal names and timecodes are paired by table, timeline and MXF without a wrong pair. What your editing application makes of them, try
with one clip before the night. **Proxies are no backup**: the originals are the production's to keep.
"""

RECIPE_WORDS = {
    "Area.height": "pixels",
    "Area.raster": "the raster that the area is drawn for",
    "Area.width": "pixels",
    "Area.x": "pixels from the left",
    "Area.y": "pixels from the top",
    "Burnin.font": "a font file, or the name of one that OpenImageIO or matplotlib ships",
    "Burnin.text": "the lines of text",
    "Burnin.watermark": "text over the whole picture, with fields in braces",
    "Burnin.watermark_opacity": "0 is invisible; 0.3 is hard to see on bright or busy pictures, 0.6 shows on all",
    "Changes.held_at": "the grade that held when the camera cut, or at the first frame",
    "Default.camera": "which clips: a camera's letter",
    "Default.encoding": "log curve and gamut; `rushlight encodings` lists them",
    "Default.exposure_index": "where a maker's curve depends on it",
    "Default.fdl": "[framing decisions](framing.md) (ASC FDL): a path, or the name of one under `--grades`, with `#` and a context's label; or `none`",
    "Default.levels": "narrow (64 to 940 of ten bits) or full (0 to 1023)",
    "Default.lut": "the show LUT: a path, or the name of one under `--grades`",
    "Default.lut_output": "the display that the LUT is made for, its levels, or both",
    "Frame.area": "the part of the original that is taken",
    "Frame.crop": "what of a framing decision's canvas is delivered: what is framed, what is protected, the part that has a picture, or all",
    "Frame.framing": "a framing intent by id or label, or `default`: [framing decisions](framing.md) of the clip's `fdl`",
    "Frame.desqueeze": "how many times wider the picture is shown than stored",
    "Frame.flip": "upside down",
    "Frame.flop": "left for right",
    "Frame.mode": "pad: all of the picture, black beside it; fill: the raster filled, edges cut; stretch: to the raster's shape",
    "Frame.rotate": "degrees",
    "Guides.action_safe": "a line at this share of the picture",
    "Guides.aspect": "a frame line of this aspect ratio, such as 2.39",
    "Guides.framing": "frame lines of these framing intents, by id or label: [framing decisions](framing.md)",
    "Guides.protection": "and dashed ones of what they protect",
    "Guides.centre": "a cross in the middle",
    "Guides.opacity": "of the lines",
    "Guides.shade": "how dark it is outside of the frame line: 0 not at all, 1 black",
    "Guides.title_safe": "a line at this share of the picture",
    "LookSettings.clamp": "the CDL holds its result in 0 to 1, as ASC CDL 1.2 says",
    "LookSettings.display": "the display that the picture is made for",
    "LookSettings.grade_order": "the grade acts before or after the show transform",
    "LookSettings.grade_space": "the grade acts on the camera's log signal or in ACEScct",
    "LookSettings.lut_contains_grade": "the LUT has the grade in it: a row's own is not applied again",
    "LookSettings.lut_interpolation": "between the LUT's points",
    "LookSettings.show_lut": "a LUT file (.cube, .clf, …) for every clip; a row's `lut` overrules it",
    "LookSettings.size": "points a side of the baked lattice",
    "LookSettings.transform": "the output transform where there is no show LUT",
    "MovieOutput.burnin": "text and watermark over the picture",
    "MovieOutput.codec": "what the pictures are encoded with",
    "MovieOutput.container": "the codec's usual one where it is empty",
    "MovieOutput.dither": "hide the steps of fewer bits",
    "MovieOutput.make": "a movie of each clip",
    "MovieOutput.preset": "how hard the encoder tries, where it has presets",
    "MovieOutput.quality": "the codec's own scale (crf or quantiser): lower is better and larger",
    "MovieOutput.sound": "copy: every channel as it is; mix: one stereo track; silent: a track of silence; none: no track",
    "Output.frame": "how the original's picture sits in the raster",
    "Output.guides": "lines and shaded masks over the picture",
    "Output.name": "the folder that it goes to",
    "Output.only": 'for rows whose cells say so: `only = { circled = "yes" }`',
    "Output.size": "the raster; the original's own where it is not stated",
    "Output.state": "log: code values untouched; show: show LUT or standard transform alone; graded: grade and show transform",
    "Recipe.changes": "how clips are set against the record of grade changes",
    "Recipe.damaged_frames": "deliver as far as they decode, with a warning, or fail the clip",
    "Recipe.default": "what is true of a camera, reel or file pattern",
    "Recipe.deliver_differing": "deliver clips whose originals are not as their hash manifest has them (`--manifest`), with a warning",
    "Recipe.description": "one line for `rushlight recipes`",
    "Recipe.encoding": "for clips of which nobody else states one",
    "Recipe.fdl": "[framing decisions](framing.md) (ASC FDL) for every clip: a .fdl beside the recipe, or the name of one under `--grades`; `#` and"
    " a context's label says which of its contexts",
    "Recipe.unframed": "clips without the framing decision that an output asks for",
    "Recipe.handles": "frames added on either side of a row's `in` and `out`, as far as the original has them",
    "Recipe.interlaced": "material whose header says that it is interlaced",
    "Recipe.levels": "for clips of which nobody else states them",
    "Recipe.look": "what stands between the log picture and the monitor",
    "Recipe.missing_frames": "of a sequence: fail the clip, hold the frame before, or put a stand-in frame that says so",
    "Recipe.name": "the file's name where it is empty",
    "Recipe.off_speed": "clips shot at another rate than the show's: keep their rate, play frame for frame at the show's, or refuse",
    "Recipe.output": "what is made, a table a product",
    "Recipe.several_files": "a clip named as `name_###.mov`: joined where timecode runs on, or each file for itself",
    "Recipe.show_rate": "frames a second of the show",
    "Recipe.ungraded": "clips without a grade",
    "Recipe.variable_rate": "material of variable frame rate: refuse, or show each picture for the time of one frame",
    "StillsOutput.at": "which frames; `list` takes the row's column `stills`",
    "StillsOutput.kinds": "a file of each kind",
    "StillsOutput.make": "stills of each clip, from the exact evaluation of its look",
    "TextLine.at": "where it stands",
    "TextLine.backing": "what keeps it readable",
    "TextLine.opacity": "0 is invisible",
    "TextLine.size": "height as a share of the raster's",
    "TextLine.text": "words, and fields in braces such as {clip} and {timecode}",
}


def fields(model: type[BaseModel], words: Mapping[str, str] | None = None) -> str:
    """Tables of a model's keys and of all models inside it, from the document that pydantic makes of it."""
    schema = model.model_json_schema(mode="validation", ref_template="#/{model}")
    tables = {model.__name__: schema, **schema.get("$defs", {})}
    classes = dict(_models(model))
    text = []
    for name in _in_order(model.__name__, tables):
        text.append(_section(_title(name), classes[name], tables[name], words))
    return "\n".join(text)


def _section(
    title: str,
    model: type[BaseModel],
    table: Mapping[str, Any],
    words: Mapping[str, str] | None = None,
    told: Collection[str] = (),
) -> str:
    """A table of a model's keys but those in `told`, under its title and docstring."""
    rows = []
    for key, about in table.get("properties", {}).items():
        if key in told:
            continue
        said = about.get("description") or _comments(model).get(key, "")
        if words is not None:
            said = said or _from(words, model, key)
        needed = "needed" if key in table.get("required", ()) else _default(about.get("default"))
        rows.append(f"| `{key}` | {_takes(about)} | {needed} | {_cell(said)} |")
    doc = " ".join((inspect.getdoc(model) or "").split())
    keys = "| key | takes | default | |\n|---|---|---|---|\n" + "\n".join(rows) + "\n" if rows else ""
    return f"## {title}\n\n{_cell(doc)}\n" + (f"\n{keys}" if keys else "")


IN_EVERY_EVENT = ("schema", "sequence", "time", "event")


def event_words(model: type[BaseModel]) -> dict[str, str]:
    """When each event of a model is told: its own words where the model tells several, else the model's."""
    field = model.model_fields["event"]
    names, doc = get_args(field.annotation), " ".join((inspect.getdoc(model) or "").split())
    if len(names) == 1:
        return {names[0]: doc}
    parts = dict(part.split(": ", 1) for part in (field.description or "").rstrip(".").split("; "))
    assert list(parts) == list(names), f"{model.__name__}: the description of its event tells {list(parts)}"
    return {name: f"{words[0].upper()}{words[1:]}." for name, words in parts.items()}


def event_page() -> str:
    """Every event with when it is told, then what each holds, all from the models."""
    words: dict[str, str] = {}
    sections: list[str] = []
    inner: dict[str, str] = {}
    for model in get_args(AnyEvent):
        told = event_words(model)
        assert not told.keys() & words.keys()
        words |= told
        schema = model.model_json_schema(mode="validation", ref_template="#/{model}")
        sections.append(_section(", ".join(f"`{name}`" for name in told), model, schema, told=IN_EVERY_EVENT))
        classes = dict(_models(model))
        for name, table in schema.get("$defs", {}).items():
            inner[name] = _section(_title(name), classes[name], table)
    rows = "\n".join(f"| `{name}` | {_cell(text)} |" for name, text in sorted(words.items()))
    return f"| `event` | when |\n|---|---|\n{rows}\n\n" + "\n".join([*sections, *inner.values()])


def unsaid(model: type[BaseModel], words: Mapping[str, str]) -> list[str]:
    """Keys of a model that nothing explains."""
    return [
        f"{name}.{key}"
        for name, found in _models(model)
        if name != "Size"
        for key, field in found.model_fields.items()
        if not (field.description or _comments(found).get(key) or _from(words, found, key))
    ]


def _title(name: str) -> str:
    return name.strip("_")


def _cell(text: str) -> str:
    return text.replace("|", "\\|").strip()


def _default(value: object) -> str:
    if value in (None, "", [], {}) or isinstance(value, dict):
        return ""
    if isinstance(value, list):
        return ", ".join(f"`{v}`" for v in value)
    return f"`{str(value).lower() if isinstance(value, bool) else value}`"


def _takes(about: Mapping[str, Any]) -> str:
    """What a key takes, in words."""
    if ref := about.get("$ref"):
        name = ref.rpartition("/")[2]
        return f"[{_title(name)}](#{_title(name).lower()})"
    if about.get("examples") == ["1920x1080"]:
        return '"WIDTHxHEIGHT"'
    if ways := about.get("anyOf") or about.get("oneOf"):
        return " or ".join(_takes(way) for way in ways if way.get("type") != "null")
    if "const" in about:
        return f"`{about['const']}`"
    if "enum" in about:
        return ", ".join(f"`{word}`" if word != "" else "nothing" for word in about["enum"])
    kind = about.get("type", "anything")
    if kind == "array":
        counts = (about.get("minItems"), about.get("maxItems"))
        many = f"{counts[0]} of" if counts[0] and counts[0] == counts[1] else "a list of"
        return f"{many} {_takes(about.get('items', {}))}"
    if kind == "object":
        inner = about.get("additionalProperties")
        return f"a table of {_takes(inner)}" if isinstance(inner, dict) and inner else "a table"
    names = {"integer": "a whole number", "number": "a number", "string": "text", "boolean": "true or false"}
    return names.get(kind, kind) + _limits(about)


def _limits(about: Mapping[str, Any]) -> str:
    low = about.get("minimum", about.get("exclusiveMinimum"))
    high = about.get("maximum", about.get("exclusiveMaximum"))
    if low is not None and high is not None and abs(high) < 1e9:
        return (
            f" from {_number(low)} to {_number(high)}"
            if "minimum" in about
            else f" over {_number(low)} to {_number(high)}"
        )
    if low is not None and abs(low) < 1e9:
        return f" from {_number(low)}" if "minimum" in about else f" over {_number(low)}"
    return ""


def _number(value: float) -> str:
    return f"{value:.10g}"


def _in_order(first: str, tables: Mapping[str, Any]) -> list[str]:
    """Names of tables as they are met from the first on; those shown as text are none."""
    order, todo = [], [first]
    while todo:
        name = todo.pop(0)
        if name in order or name == "Size":
            continue
        order.append(name)
        todo += list(_refs(tables[name].get("properties", {})))
    return order


def _refs(value: Any) -> Iterator[str]:
    if isinstance(value, Mapping):
        if "$ref" in value:
            yield value["$ref"].rpartition("/")[2]
        for key, inner in value.items():
            if key != "mapping":
                yield from _refs(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _refs(inner)


def _models(model: type[BaseModel], seen: set[type] | None = None) -> Iterator[tuple[str, type[BaseModel]]]:
    """A model and all models inside it, by name."""
    seen = set() if seen is None else seen
    if model in seen:
        return
    seen.add(model)
    yield model.__name__, model
    for field in model.model_fields.values():
        for inner in _inside(field.annotation):
            yield from _models(inner, seen)


def _inside(kind: Any) -> Iterator[type[BaseModel]]:
    if inspect.isclass(kind) and issubclass(kind, BaseModel):
        yield kind
    for argument in get_args(kind):
        yield from _inside(argument)


@cache
def _comments(model: type[BaseModel]) -> dict[str, str]:
    """The comment beside each field of a model and of those it inherits from, by key."""
    found: dict[str, str] = {}
    for base in reversed(model.__mro__):
        if not (issubclass(base, BaseModel) and base.__module__.startswith("rushlight.")):
            continue
        source = inspect.getsource(base)
        notes = {
            token.start[0]: token.string.lstrip("# ").strip()
            for token in tokenize.generate_tokens(io.StringIO(source).readline)
            if token.type == tokenize.COMMENT
        }
        (body,) = ast.parse(source).body
        for node in getattr(body, "body", ()):
            if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
                lines = range(node.lineno, (node.end_lineno or node.lineno) + 1)
                if said := " ".join(notes[n] for n in lines if n in notes):
                    found[node.target.id] = said
    return found


def _from(words: Mapping[str, str], model: type[BaseModel], key: str) -> str:
    names = (base.__name__.strip("_") for base in model.__mro__)
    return next((words[f"{name}.{key}"] for name in names if f"{name}.{key}" in words), "")


def record_model() -> type[BaseModel]:
    """The model of a delivered clip's record."""
    return DeliveredRecord


def exit_codes() -> list[tuple[int, str, str]]:
    """Value, name and words of each exit code, as they stand in the code."""
    module = importlib.import_module("rushlight.batch.exit_codes")
    lines = inspect.getsource(module).splitlines()
    found = []
    for line in lines:
        name, _, rest = line.partition(": Final = ")
        if rest:
            value, _, words = rest.partition("#")
            found.append((int(value), name, words.strip()))
    return sorted(found)


def event_names() -> set[str]:
    """Every event that the code names outright."""
    found = set()
    for path in (ROOT / "batch" / "run").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call):
                for word in node.keywords:
                    if word.arg in ("what", "event"):
                        found |= {
                            part.value
                            for part in ast.walk(word.value)
                            if isinstance(part, ast.Constant) and isinstance(part.value, str)
                        }
    return {name for name in found if name}


def pages() -> dict[str, str]:
    """Each page that is made here, by its file's name."""
    sys.path.insert(0, str(Path(__file__).parent))  # it may have been started by its name as a module
    catalogue = importlib.import_module("reference_catalogue")
    codes = "\n".join(
        f"| {value} | {name} | {words or 'everything was done'} |" for value, name, words in exit_codes()
    )
    return {
        "lists.md": with_columns((FOLDER / "lists.md").read_text()),
        "originals.md": with_keys((FOLDER / "originals.md").read_text()),
        "recipes.md": "# Recipes\n\n" + MADE + "\nA recipe is a TOML file that says what is to be made of each clip. These ship: "
        + ", ".join(f"`{name}`" for name in shipped_recipes())
        + ". `rushlight recipes NAME` prints one to copy from, and `--recipe FILE.toml` takes your own. Every setting that is not"
        " known, or has a value that will not do, is told by its key before anything is read.\n\n" + fields(Recipe, RECIPE_WORDS) + "\n" + LOOKS_PART + "\n" + NAMES_PART,
        "day.md": DAY_PAGE.format(made=MADE, keys=fields(DayDocument, RECIPE_WORDS)),
        "record.md": "# The job record\n\n" + MADE + "\nA line of `log/jobs.jsonl` is one record, as JSON; the latest of a clip holds."
        " These are the fields of a clip that was delivered. Of one that was set aside, failed or taken out of the queue only `job`, `clip`,"
        " `status` and `colour` are certain. What a newer version adds is kept.\n\n" + fields(record_model())
        + "\n## The spreadsheet\n\nThe columns of `report/batch.csv`, a line a clip: "
        + ", ".join(f"`{column}`" for column in REPORT_COLUMNS) + ".\n",
        "burn-in.md": catalogue.burnin_page(MADE),
        "encodings.md": catalogue.encodings_page(MADE),
        "camera-report.md": camera_report_page(),
        "editor.md": editor_page(),
        "events.md": "# Events\n\n" + MADE + "\n`rushlight render --json`, `rushlight queue run --json` and `rushlight day run DAY.toml --json` write one JSON object a line on"
        " standard output while they work, and nothing else there. Each has `schema`, `sequence` (counted from 1 without a gap), `time` (ISO 8601) and `event`, and `clip` where it is about one. What a later version adds"
        " is to be passed over.\n\n" + event_page(),
        "exit-codes.md": "# Exit codes\n\n" + MADE + "\n| code | | means |\n|---|---|---|\n" + codes
        + "\n\nA second Ctrl-C ends a command with 3 at once. `queue run --stay` that had nothing left when it was stopped ends with 0 or 1."
        " What `--on-finish` and `--on-failure` do changes no exit code.\n",
    }  # fmt: skip


def camera_report_page() -> str:
    """The page on the camera report, with the columns as the code has them."""
    columns = "\n".join(f"| `{name}` | {_cell(says)} |" for name, says in CAMERA_COLUMNS.items())
    return CAMERA_PAGE.format(made=MADE, columns=columns)


def _in_stills(name: str) -> str:
    """Cells of the table of metadata: attribute of EXR, tag of TIFF and EXIF, property of XMP."""
    exr = {**EXR_NAMES, **EXR_NUMBERS}
    also = {"shutter": "exposure_time"}.get(name, "")
    tag = TAGS.get(also or name, "").removeprefix("Exif:")
    xmp = XMP_NAMES.get(also or name) or {"take": "xmpDM:takeNumber", "circled": "xmpDM:good"}.get(name, "")
    told = " or ".join(f"`{each}`" for each in (exr.get(name, name), exr.get(also, "")) if each)
    return f"{told} | {f'`{tag}`' if tag else ''} | {f'`{xmp}`' if xmp else ''}"


def editor_page() -> str:
    """The page on clip tables and MXF, with the columns as the code has them."""
    columns = "\n".join(f"| `{name}` | {_cell(says)} |" for name, says in CLIP_COLUMNS.items())
    metadata = "\n".join(
        f"| `{name}` | `{MOVIE_KEYS.get(name, name)}` | {_in_stills(name)} | {says} |"
        for name, says in CLIP_METADATA.items()
    )
    return EDITOR_PAGE.format(made=MADE, columns=columns, metadata=metadata)


def list_columns() -> str:
    """The table of columns of a list."""
    rows = []
    for name, column in LIST_COLUMNS.items():
        words = ", ".join(f"`{word}`" for word in CHOICES.get(name, ()))
        rows.append(
            f"| `{name}` | {_cell(column.says)}{f' ({words})' if words else ''} | `{column.example}` |"
        )
    rows.append("| any other | passes through to burn-in and record | |")
    return "| column | what it says | such as |\n|---|---|---|\n" + "\n".join(rows) + "\n"


def header_keys() -> str:
    """The table of keys that headers are read by."""
    rows = [
        f"| `{name}` | {keys.says} | {', '.join(f'`{key}`' for key in keys.keys)} |"
        for name, keys in HEADER_FACTS.items()
    ]
    return "| fact | | keys |\n|---|---|---|\n" + "\n".join(rows) + "\n"


def with_columns(page: str) -> str:
    """docs/reference/lists.md with its table of columns made again: all else in it is written by hand."""
    return _with_table(page, COLUMNS_BEGIN, list_columns(), COLUMNS_END)


def with_keys(page: str) -> str:
    """docs/reference/originals.md with its table of keys made again, likewise."""
    return _with_table(page, KEYS_BEGIN, header_keys(), KEYS_END)


def _with_table(page: str, begins: str, table: str, ends: str) -> str:
    head, begin, rest = page.partition(begins)
    _, end, tail = rest.partition(ends)
    assert begin and end, "a page has lost the marks of its table"
    return head + begin + table + end + tail


if __name__ == "__main__":
    for name, text in pages().items():
        if "--write" in sys.argv:
            (FOLDER / name).write_text(text)
        else:
            print(text)
