"""The columns that a list may have: what each says, and a cell as it may stand there. docs/reference/lists.md is made of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

__all__ = ["CHOICES", "COLUMNS", "GRADE_COLUMNS", "Column"]

GRADE_COLUMNS = ("slope", "offset", "power", "saturation")
# The words of a column that takes no others, in any case.
CHOICES: Mapping[str, tuple[str, ...]] = {
    "levels": ("narrow", "full"),
    "lut_contains_grade": ("yes", "no"),
}


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column, for people."""

    says: str
    example: str = ""  # a cell that is taken


def _table(*columns: tuple[str, str, str]) -> Mapping[str, Column]:
    return MappingProxyType({name: Column(says=says, example=example) for name, says, example in columns})


COLUMNS = _table(
    (
        "clip",
        "a movie, a folder holding one image sequence, or a pattern (`name.#######.dpx`), relative to the list or to a"
        " `--media` folder; `name_###.mov` for a clip in several files, on one card or several, joined where timecode"
        " runs on (or each for itself with `several_files = \"each\"` in the recipe)",
        "A001C003.mov",
    ),
    ("in", "the first frame: a timecode, or a frame number counted from 0", "01:00:00:02"),
    ("out", "the frame after the last one: a timecode or a frame number", "01:00:00:06"),
    ("encoding", "log curve and gamut, by a name that `rushlight encodings` lists; never guessed. The row, a default, the"
        " recipe or `--encoding` states it", "LogC3"),
    ("levels", "how the curve sits in the code values: 64 to 940 of ten bits, or 0 to 1023", "narrow"),
    ("exposure_index", "the camera's exposure index, where the maker's curve depends on it", "800"),
    ("slope", "the grade's slope as ASC CDL: red, green, blue", "1.06 1.0 0.97"),
    ("offset", "its offset", "0.0 0.0 0.004"),
    ("power", "its power", "1.02 1.0 1.0"),
    ("saturation", "its saturation: one number", "1.08"),
    ("cdl", "the grade in a .cc, .ccc or .cdl file, with `#id`, or an [ACES Metadata File](aces.md) (.amf)",
        "garden.cdl#garden_12A_3"),
    ("lut", "the show LUT: a .cube, .clf or another LUT file, by path or by name under `--grades`", "farrow.cube"),
    ("lut_input", "the signal that the LUT was made for: a space, levels or both; else the clip's own signal, full",
        "LogC3 full"),
    ("lut_output", "the display that the LUT was made for, and its levels; else the recipe's display, full; a LUT that gives a scene "
        "states its encoding, and the recipe's transform shows it",
        "P3-D65 narrow"),
    ("lut_contains_grade", "the LUT has the grade in it already", "yes"),
    ("fdl", "its [framing decisions](framing.md) (ASC FDL): a .fdl, by path or by name under `--grades`; `#` and the label of a"
        " context says which of its contexts; or `none`", "farrow.fdl#B Cam"),
    ("exposure", "exposure ahead of the grade, in stops", "-0.5"),
    ("white_balance", "the scene's white, as CIE `x y` or as daylight", "5600K"),
    ("printer_points", "printer points ahead of the grade: red, green, blue", "2 0 -1"),
    ("look", "a name for the look, shown in burn-in and report in place of the grade's own", "evening"),
    ("scene", "the scene: finds grades, is shown in burn-in, and picks clips with `--only`", "12A"),
    ("take", "the take", "3"),
    ("camera", "the camera's letter", "A"),
    ("circled", "a circled take; for `--only circled=yes`, and for a recipe that makes circled takes `first`", "yes"),
    ("date", "the day it was recorded; tells clips of one name apart, and is needed for the record of grade changes",
        "2026-05-04"),
    ("day", "the shooting day in your words; a date here counts as `date`", "day 3"),
    ("unit", "the unit", "second"),
    ("note", "a note for burn-in and report", "lamplight only"),
    ("rate", "frames a second, in place of the header's", "23.976"),
    ("capture_rate", "frames a second while recording, in place of the header's", "48"),
    ("timecode", "the first frame's timecode, in place of the header's", "01:00:00:00"),
    ("timecode_from", "the audio track of the original that its timecode (LTC) is read from, where `timecode` is empty", "track 2"),
    ("reel", "the reel, in place of the header's", "A001"),
    ("sound", "`copy`, `mix`, `silent` or `none` in place of the recipe's; or `camera`, or files of [production sound](sound.md),"
        " several between `;`", "mix"),
    ("sound_offset", "production sound is moved later by so many samples or frames of the picture; earlier with a minus",
        "-2 frames"),
    ("sound_rate", "frames a second of the sound's timecode, in place of what its files say", "24"),
    ("sound_roll", "the sound roll that its take is on", "S004"),
    ("rotation", "0 or 180 degrees: how the stored picture is to be turned", "180"),
    ("desqueeze", "how many times wider the picture is to be than it is stored", "2"),
    ("clock_offset", "seconds that its timecode is ahead of the record of grade changes, and of the sound recorder", "-0.5"),
    ("stills", "timecodes of frames of which a still is made, where the recipe's `at` says `list`",
        "01:00:00:02, 01:00:00:05"),
    ("chart", "a 24-patch chart in the picture: x and y of the four corners of its patches in pixels of the original, clockwise from the"
        " top left of dark skin; after `@` a timecode, else the middle frame. It is measured and said, and corrects nothing",
        "30,10 100,10 100,60 30,60 @ 01:00:00:03"),
    ("camera_make", "the maker of the camera; this and the columns after it go before what the [original's header](originals.md)"
        " states, into the delivered files and the camera report, and change no picture", "Halden"),
    ("camera_model", "its model", "H7"),
    ("camera_serial", "its serial number", "0042"),
    ("lens", "the lens", "Norrin 35 mm"),
    ("lens_serial", "its serial number", "N351"),
    ("focal_length", "the focal length", "35 mm"),
    ("aperture", "the aperture as f-number", "f/2.8"),
    ("t_stop", "or as T-stop", "T2.8"),
    ("iso", "the exposure index that the camera was set to; else `exposure_index`", "800"),
    ("wb", "the white balance that the camera was set to (`white_balance` is a correction)", "5600K"),
    ("tint", "the tint that it was set to, in the maker's unit", "+3"),
    ("shutter", "the shutter angle, or the time of exposure", "172.8°"),
    ("approved_by", "who approved the colour, as you were told; shown as stated", "K. Lund"),
    ("approved_at", "when, as you were told", "2026-05-04 21:10"),
)  # fmt: skip
