"""Camera encodings: a log curve, a gamut and a maker's rule for code values, by name.

`code` is the camera signal on the scale that its curve is published on: 0..1 for 10-bit codes 0..1023 (or for
64..940 where the maker scales it into narrow levels). Linear values are scene-linear, 18 % grey = 0.18, in the
encoding's own gamut. Curves are colour-science's, in float64; gamuts are published primaries; adaptation to the
white of ACES (0.32168, 0.33767) is each maker's in the ACES input transforms: CAT02 or Bradford.
Sources: column `source` of each entry; primaries checked against colour-science and OpenColorIO.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from typing import Literal, TypedDict

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.pipelines.colour.curves import EXPOSURE_INDEXES, find_curve
from rushlight.pipelines.colour.gamuts import GAMUTS, Gamut
from rushlight.pipelines.errors import EncodingError

__all__ = ["Encoding", "Gamut", "Levels", "encodings", "find_encoding", "suggest_encoding"]

Levels = Literal["narrow", "full"]
Array = NDArray[np.float64]


def _through(function: Callable[[Array], Array], values: ArrayLike) -> Array:
    given = np.asarray(values, np.float64)
    with np.errstate(all="ignore"):
        return np.where(np.isnan(given), np.nan, np.asarray(function(given), np.float64))


@dataclass(frozen=True, kw_only=True)
class Encoding:
    """A camera encoding: curve, gamut and levels of an original's code values."""

    name: str  # "S-Log3/S-Gamut3.Cine"
    curve: str
    gamut: Gamut
    kind: Literal["log", "linear", "video"] = "log"
    levels: Levels | None = (
        None  # how the maker puts 0..1 into the code values of a YCbCr file; None: nothing published
    )
    levels_source: str = ""
    exposure_index: int | None = None
    source: str = ""

    def decode(self, code: ArrayLike) -> Array:
        """Scene-linear RGB of the encoding's own gamut, of `code` (any shape).

        Curves go on past 0 and 1 as their formula does; NaN stays NaN.
        """
        return _through(find_curve(self.curve, self.exposure_index).decode, code)

    def encode(self, linear: ArrayLike) -> Array:
        """The inverse of `decode`; negatives follow the curve's toe, or its floor where it has none (ACEScc, Cineon)."""
        return _through(find_curve(self.curve, self.exposure_index).encode, linear)

    @property
    def matrix_to_ap0(self) -> Array:
        return _matrix(self.gamut)

    def to_ap0(self, code: ArrayLike) -> Array:
        """ACES2065-1 linear RGB (..., 3) of `code` (..., 3). NaN gives NaN, and so may infinities."""
        with np.errstate(invalid="ignore", over="ignore"):
            return self.decode(code) @ self.matrix_to_ap0.T

    def from_ap0(self, ap0: ArrayLike) -> Array:
        """The code values (..., 3) of ACES2065-1 linear RGB (..., 3)."""
        with np.errstate(invalid="ignore", over="ignore"):
            return self.encode(np.asarray(ap0, np.float64) @ _inverse(self.gamut).T)


@lru_cache(maxsize=64)
def _matrix(gamut: Gamut) -> Array:
    matrix = gamut.matrix_to_ap0()
    matrix.setflags(write=False)
    return matrix


@lru_cache(maxsize=64)
def _inverse(gamut: Gamut) -> Array:
    matrix = np.asarray(np.linalg.inv(_matrix(gamut)), np.float64)
    matrix.setflags(write=False)
    return matrix


_FILE_CODES = "the maker's table states file codes: {}"
_SONY = _FILE_CODES.format("black 95, grey 420, white 598")


class _LevelsOf(TypedDict):
    levels: Levels
    levels_source: str


def _entry(
    curve: str,
    gamut: str = "",
    *,
    name: str = "",
    source: str,
    kind: Literal["log", "linear", "video"] = "log",
    levels: Levels | None = None,
    levels_source: str = "",
    exposure_index: int | None = None,
) -> Encoding:
    return Encoding(
        name=name or f"{curve}/{gamut}",
        curve=curve,
        gamut=GAMUTS[gamut],
        kind=kind,
        levels=levels,
        levels_source=levels_source,
        exposure_index=exposure_index,
        source=source,
    )


_ARRI3 = "ARRI, ALEXA Log C Curve, Usage in VFX (2017)"
_ARRI4 = "ARRI, LogC4 Logarithmic Color Space Specification (2023)"
_SCALED: _LevelsOf = {
    "levels": "narrow",
    "levels_source": "scaled into narrow levels in YCbCr files (from memory)",
}


def _file_codes(levels_source: str) -> _LevelsOf:
    return {"levels": "full", "levels_source": _FILE_CODES.format(levels_source)}


_ENCODINGS: tuple[Encoding, ...] = (
    _entry(
        "LogC3", "Wide Gamut 3", name="ARRI LogC3/Wide Gamut 3", source=_ARRI3, exposure_index=800, **_SCALED
    ),
    _entry("LogC4", "Wide Gamut 4", name="ARRI LogC4/Wide Gamut 4", source=_ARRI4, **_SCALED),
    _entry(
        "S-Log",
        "S-Gamut",
        source="Sony, S-Log White Paper (2009)",
        **_file_codes("black 90, grey 394, white 636"),
    ),
    _entry(
        "S-Log2",
        "S-Gamut",
        source="Sony, S-Log2 Technical Paper V1.0 (2012)",
        **_file_codes("black 90, grey 347, white 582"),
    ),
    *(
        _entry(
            "S-Log3",
            gamut,
            source="Sony, Technical Summary for S-Gamut3.Cine/S-Log3 and S-Gamut3/S-Log3 V1.0",
            levels="full",
            levels_source=_SONY,
        )
        for gamut in ("S-Gamut3", "S-Gamut3.Cine", "Venice S-Gamut3", "Venice S-Gamut3.Cine")
    ),
    _entry(
        "V-Log",
        "V-Gamut",
        source="Panasonic, V-Log/V-Gamut Reference Manual Rev. 1.0 (2014)",
        **_file_codes("black 128, grey 433, white 602"),
    ),
    _entry("Log3G10", "REDWideGamutRGB", source="RED, White Paper on REDWideGamutRGB and Log3G10 (915-0187)"),
    _entry(
        "Canon Log",
        "Cinema Gamut",
        source="Canon, EOS C500/C300 Canon Log Gamma curve paper (v1.2, 2018)",
        **_file_codes("black 128, grey 351, white 614"),
    ),
    _entry(
        "Canon Log 2",
        "Cinema Gamut",
        source="Canon, Canon Log Gamma Curves (2018)",
        **_file_codes("black 95, grey 407, white 575"),
    ),
    _entry(
        "Canon Log 3",
        "Cinema Gamut",
        source="Canon, Canon Log Gamma Curves (2018)",
        **_file_codes("black 128, grey 351, white 577"),
    ),
    _entry(
        "F-Log",
        "F-Gamut",
        source="Fujifilm, F-Log Data Sheet 1.1",
        **_file_codes("black 95, grey 470, white 705"),
    ),
    _entry(
        "F-Log2",
        "F-Gamut",
        source="Fujifilm, F-Log2 Data Sheet 1.0",
        **_file_codes("black 95, grey 400, white 570"),
    ),
    _entry(
        "F-Log2",
        "F-Gamut C",
        source="Fujifilm, F-Log2C Data Sheet 1.0",
        **_file_codes("black 95, grey 400, white 570"),
    ),
    _entry(
        "N-Log",
        "N-Gamut",
        source="Nikon, N-Log Specification Document 1.0.0, section 2",
        **_file_codes("the formula gives the 10-bit code, grey 372"),
    ),
    _entry("L-Log", "Rec.2020", source="Leica, L-Log Reference Manual"),
    _entry("D-Log", "D-Gamut", source="DJI, White Paper on D-Log and D-Gamut (2017)"),
    _entry("Apple Log", "Rec.2020", source="Apple, Apple Log Profile White Paper (2023)"),
    _entry(
        "Film Generation 5",
        "Blackmagic Wide Gamut",
        name="Blackmagic Film Generation 5/Wide Gamut",
        source="Blackmagic Design, Generation 5 Color Science (2021)",
    ),
    _entry("Cineon", "Rec.709", source="Kodak, Conversion of 10-bit Log Film Data (1995)"),
    _entry("ACEScc", "AP1", source="Academy S-2014-003"),
    _entry("ACEScct", "AP1", source="Academy S-2016-001"),
    _entry("linear", "AP1", name="ACEScg", kind="linear", source="Academy S-2014-004"),
    _entry("linear", "AP0", name="ACES2065-1", kind="linear", source="SMPTE ST 2065-1:2021"),
    _entry("linear", "Rec.709", name="Linear Rec.709", kind="linear", source="ITU-R BT.709-6, item 1.3"),
    _entry("linear", "Rec.2020", name="Linear Rec.2020", kind="linear", source="ITU-R BT.2020-2, table 3"),
    _entry("linear", "P3-D65", name="Linear P3-D65", kind="linear", source="SMPTE EG 432-1:2010"),
    _entry(
        "linear",
        "Rec.709",
        name="Linear by header",
        kind="linear",
        source="OpenEXR, attribute chromaticities",
    ),
    _entry(
        "BT.709", "Rec.709", name="Video Rec.709", kind="video", source="ITU-R BT.709-6, item 1.2, inverted"
    ),
)

# Other spellings of a curve alone or of a whole name, normalised as `_plain` does it.
_ALSO = {
    "ARRI LogC3/Wide Gamut 3": (
        "logc3",
        "arrilogc3",
        "logc",
        "arrilogc",
        "alexalogc",
        "logc3awg3",
        "arrilogc3arriwidegamut3",
        "logcwidegamut",
    ),
    "ARRI LogC4/Wide Gamut 4": ("logc4", "arrilogc4", "logc4awg4", "arrilogc4arriwidegamut4"),
    "Log3G10/REDWideGamutRGB": ("redlog3g10", "log3g10rwg"),
    "Canon Log/Cinema Gamut": ("clog", "clog1", "canonlog1"),
    "Canon Log 2/Cinema Gamut": ("clog2", "canonlog2cinemagamutd55"),
    "Canon Log 3/Cinema Gamut": ("clog3", "canonlog3cinemagamutd55"),
    "F-Log2/F-Gamut C": ("flog2c",),
    "Blackmagic Film Generation 5/Wide Gamut": (
        "filmgeneration5",
        "filmgen5",
        "blackmagicfilmgen5",
        "blackmagicfilmgeneration5",
        "bmdfilmgen5",
        "blackmagicfilmwidegamutgen5",
    ),
    "Apple Log/Rec.2020": ("applelogbt2020", "applelogprofile"),
    "ACEScct/AP1": ("acescct",),
    "ACEScc/AP1": ("acescc",),
    "ACES2065-1": ("aces", "ap0linear"),
    "Linear Rec.709": ("linearrec709srgb", "linearsrgb", "linear709"),
    "Linear Rec.2020": ("linear2020", "linearbt2020"),
    "Linear P3-D65": ("linearp3",),
    "Linear by header": ("linear", "scenelinear"),
    "Video Rec.709": ("rec709", "bt709", "video", "camerarec709"),
}
_NATIVE = {"flog2": "F-Log2/F-Gamut"}  # the F-Log2 data sheet; F-Gamut C came with F-Log2C


def _plain(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.lower())


@cache
def _index() -> dict[str, tuple[Encoding, ...]]:
    index: dict[str, list[Encoding]] = {}
    for entry in _ENCODINGS:
        keys = {_plain(entry.name), *_ALSO.get(entry.name, ())}
        if entry.kind == "log":
            keys.add(_plain(entry.curve))
            keys.add(_plain(entry.curve + entry.gamut.name))
        for key in keys:
            index.setdefault(key, []).append(entry)
    for key, name in _NATIVE.items():
        index[key] = [e for e in _ENCODINGS if e.name == name]
    return {key: tuple(found) for key, found in index.items()}


def encodings() -> tuple[Encoding, ...]:
    """All that ship, in the order of the table."""
    return _ENCODINGS


_EI = re.compile(r"(?i)[\s(,/]*\bEI\s*[- ]?(\d{2,5})\)?")


def find_encoding(name: str, *, exposure_index: int | None = None) -> Encoding:
    """The encoding of that name, forgiving about case, spaces, hyphens, dots and underscores.

    A curve alone means its maker's gamut. LogC3 takes an exposure index, as an argument or as `EI 400` in the
    name; 800 otherwise. EncodingError if the name is unknown (with the nearest), if several gamuts would do
    (with the choices), or if the index is none the maker publishes.
    """
    text = name
    match = _EI.search(name)
    if match:
        text = name[: match.start()] + name[match.end() :]
        exposure_index = exposure_index or int(match[1])
    found = _index().get(_plain(text), ())
    if len(found) > 1:
        choices = ", ".join(e.name for e in found)
        raise EncodingError(f"{name!r} leaves the gamut open; say which: {choices}")
    if not found:
        near = difflib.get_close_matches(_plain(text), _index(), 1, 0.5)
        hint = f"did you mean {_index()[near[0]][0].name!r}?" if near else "`rushlight encodings` lists them"
        raise EncodingError(f"{name!r} is not an encoding known here; {hint}")
    encoding = found[0]
    if encoding.curve != "LogC3":
        return encoding
    index = exposure_index or 800
    if index not in EXPOSURE_INDEXES:
        raise EncodingError(
            f"exposure index {index} has no LogC3 curve; the maker publishes {', '.join(map(str, EXPOSURE_INDEXES))}"
        )
    return replace(encoding, exposure_index=index)


def by_header(encoding: Encoding, chromaticities: Sequence[float]) -> Encoding:
    """The encoding itself, or for `Linear by header` the scene-linear one whose primaries and white are these (x y of
    red, green, blue and white, as OpenEXR has them). EncodingError where there are none, or none such is known."""
    if encoding.name != "Linear by header":
        return encoding
    known = [e for e in _ENCODINGS if e.kind == "linear" and e is not encoding]
    choices = ", ".join(e.name for e in known)
    if not chromaticities:
        raise EncodingError(f"the header states no chromaticities; say which it is: {choices}")
    found = next((e for e in known if e.gamut.is_of(chromaticities)), None)
    if found is None:
        numbers = " ".join(f"{v:.4g}" for v in chromaticities)
        raise EncodingError(f"the header's chromaticities ({numbers}) are those of none of {choices}")
    return found


# Words by which makers name a curve in a container's metadata (from memory); only ever a suggestion.
_HINTS = (
    (r"s-?log3.*cine|cine.*s-?log3", "S-Log3/S-Gamut3.Cine"),
    (r"s-?log3", "S-Log3/S-Gamut3"),
    (r"s-?log2", "S-Log2/S-Gamut"),
    (r"logc4", "ARRI LogC4/Wide Gamut 4"),
    (r"log-?c3?\b", "ARRI LogC3/Wide Gamut 3"),
    (r"v-?log\b", "V-Log/V-Gamut"),
    (r"log3g10", "Log3G10/REDWideGamutRGB"),
    (r"c(?:anon )?-?log ?3", "Canon Log 3/Cinema Gamut"),
    (r"c(?:anon )?-?log ?2", "Canon Log 2/Cinema Gamut"),
    (r"f-?log2", "F-Log2/F-Gamut"),
    (r"f-?log\b", "F-Log/F-Gamut"),
    (r"n-?log\b", "N-Log/N-Gamut"),
    (r"d-?log\b", "D-Log/D-Gamut"),
    (r"apple.?log", "Apple Log/Rec.2020"),
)


def suggest_encoding(metadata: Mapping[str, str]) -> str | None:
    """The encoding that a container's own metadata names, if it does. A suggestion: never to be applied unasked."""
    text = " ".join(str(v) for v in metadata.values()).lower()
    return next((name for pattern, name in _HINTS if re.search(pattern, text)), None)
