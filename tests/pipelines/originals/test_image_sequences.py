"""Image sequences: every DPX packing, every EXR compression, TIFF and PNG, alpha, turns, rates, channels, chromaticities."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import OpenImageIO as oiio
import pytest
from numpy.typing import NDArray

from pictures import write_dpx, write_picture
from rushlight.batch.plan.clip import resolve_signal
from rushlight.batch.plan.model import Stated
from rushlight.pipelines.colour.camera_encodings import by_header, find_encoding
from rushlight.pipelines.colour.gamuts import GAMUTS
from rushlight.pipelines.errors import EncodingError, SourceError
from rushlight.pipelines.formats.pixel_formats import planes
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.probe import probe

# 37 wide: lines of packed codes end in the middle of a word
RAMP = np.linspace(0, 1, 37 * 20 * 3).reshape(20, 37, 3)


def read(path: Path) -> tuple[Facts, list[NDArray[np.generic]], list[str]]:
    facts = probe(path)
    with open_source(facts) as source:
        found = list(source.frames(0, facts.frames))
    return facts, [np.stack(planes(f.image), -1) for f in found], [f.damage for f in found]


DPX = [
    (10, "packed"),
    (10, "A"),
    (10, "B"),
    (12, "packed"),
    (12, "A"),
    (12, "B"),
    (16, "packed"),
]


@pytest.mark.parametrize("order", [">", "<"], ids=["big", "little"])
@pytest.mark.parametrize(("bits", "packing"), DPX)
def test_dpx(bits: int, packing: str, order: str, tmp_path: Path) -> None:
    """Codes to the last bit, from files made by the standard's own layout."""
    top = (1 << bits) - 1
    for n in range(3):
        codes = np.rint(RAMP * top).astype(np.uint32)
        codes[0, 0] = n, top - n, top
        label = f"10:59:59:{23 - 2 + n}"
        write_dpx(
            tmp_path / f"a.{n + 7:04}.dpx", codes, bits=bits, packing=packing, order=order, timecode=label
        )
    facts, pictures, damage = read(tmp_path)
    assert (facts.frames, str(facts.timecode), facts.timecode_from) == (3, "10:59:59:21", "header")
    assert (str(facts.rate), facts.pixel_format.bits, facts.first_number) == ("24", bits, 7)
    assert damage == ["", "", ""]
    for n, picture in enumerate(pictures):
        codes[0, 0] = n, top - n, top
        assert (picture == codes).all()


COMPRESSIONS = [
    "none",
    "rle",
    "zips",
    "zip",
    "piz",
    "pxr24",
    "b44",
    "b44a",
    "dwaa",
    "dwab",
    "htj2k256",
    "htj2k32",
]


@pytest.mark.parametrize("kind", ["half", "float"])
@pytest.mark.parametrize("compression", COMPRESSIONS)
def test_exr_compressions(compression: str, kind: str, tmp_path: Path) -> None:
    """Lossless ones to the last bit, the others within what each gives away; beyond 1 and below 0 stay."""
    y, x = np.mgrid[:40, :64]
    ramp = np.stack([x / 64, y / 40, (x + y) / 104], -1).astype(np.float32) * 3 - 0.25
    wanted = ramp.astype(np.float16).astype(np.float32) if kind == "half" else ramp
    for n in range(2):
        write_picture(
            tmp_path / f"a.{n + 86400:07}.exr", wanted, kind, compression=compression, FramesPerSecond=(24, 1)
        )
    header = oiio.ImageInput.open(str(tmp_path / "a.0086400.exr")).spec()
    assert header.getattribute("compression") == compression
    facts, pictures, damage = read(tmp_path)
    assert (facts.frames, str(facts.timecode), facts.timecode_from) == (2, "01:00:00:00", "file number")
    assert facts.pixel_format.is_float and damage == ["", ""]
    lossy = {"b44": 0.03, "b44a": 0.03, "dwaa": 0.02, "dwab": 0.02, "pxr24": 5e-5}
    assert np.abs(pictures[1] - wanted).max() <= lossy.get(compression, 0.0)


WHOLE = [
    ("tif", "uint8", "gbrp"), ("tif", "uint16", "gbrp16le"), ("tif", "half", "gbrpf32le"), ("tif", "float", "gbrpf32le"),
    ("png", "uint8", "gbrp"), ("png", "uint16", "gbrp16le"),
]  # fmt: skip


@pytest.mark.parametrize(("ending", "kind", "name"), WHOLE)
@pytest.mark.parametrize("alpha", [False, True])
def test_tiff_and_png(ending: str, kind: str, name: str, alpha: bool, tmp_path: Path) -> None:
    """Samples as stored: an alpha channel is left alone and multiplies nothing, whichever way it is meant."""
    top = {"uint8": 255, "uint16": 65535}.get(kind)
    wanted = np.rint(RAMP * top).astype(kind) if top else RAMP.astype(np.float16).astype(np.float32)
    pixels = np.dstack([wanted, np.full(wanted.shape[:2], (top or 1) / 2, wanted.dtype)]) if alpha else wanted
    names = {"names": ("R", "G", "B", "A"), "oiio__UnassociatedAlpha": 1} if alpha else {}
    for n in range(2):
        write_picture(tmp_path / f"a_{n + 90}.{ending}", pixels, kind, **names)
    facts, pictures, damage = read(tmp_path)
    assert (facts.frames, facts.pixel_format.name, damage) == (2, name, ["", ""])
    assert (facts.rate_from, str(facts.timecode), facts.timecode_from) == (
        "assumed",
        "00:00:03:18",
        "file number",
    )
    assert any("no frame rate" in w for w in facts.warnings)
    assert (pictures[0] == wanted).all()


def test_alpha_of_an_exr_is_left_alone(tmp_path: Path) -> None:
    pixels = np.dstack([RAMP, np.full(RAMP.shape[:2], 0.25)]).astype(np.float16).astype(np.float32)
    write_picture(tmp_path / "a.1.exr", pixels, "half", names=("R", "G", "B", "A"))
    assert (read(tmp_path)[1][0] == pixels[..., :3]).all()


@pytest.mark.parametrize(
    "names",
    [("Y", "RY", "BY"), ("beauty.R", "beauty.G", "beauty.B"), ("X", "Y", "Z"), ("Y",), ("R", "G", "A")],
)
def test_pictures_without_red_green_and_blue_are_refused(names: tuple[str, ...], tmp_path: Path) -> None:
    write_picture(tmp_path / "a.1.exr", np.zeros((8, 8, len(names)), np.float32), "half", names=names)
    with pytest.raises(SourceError, match="has no channels R, G and B"):
        probe(tmp_path)


def test_channels_are_found_by_name(tmp_path: Path) -> None:
    pixels = np.zeros((8, 8, 5), np.float32) + np.arange(5, dtype=np.float32)
    write_picture(tmp_path / "a.1.exr", pixels, "half", names=("A", "B", "G", "R", "depth.Z"))
    assert (read(tmp_path)[1][0][0, 0] == [3, 2, 1]).all()


@pytest.mark.parametrize(
    ("orientation", "turn"), [(1, (0, False)), (2, (0, True)), (3, (180, False)), (6, (90, False))]
)
def test_a_tiff_states_how_it_is_turned(orientation: int, turn: tuple[int, bool], tmp_path: Path) -> None:
    write_picture(tmp_path / "a.1.tif", RAMP.astype(np.float32), "uint8", Orientation=orientation)
    facts = probe(tmp_path)
    assert (facts.rotation, facts.mirrored) == turn


@pytest.mark.parametrize(
    ("code", "turn"), [(0, (0, False)), (1, (0, True)), (2, (180, True)), (3, (180, False))]
)
def test_a_dpx_states_how_it_is_turned(code: int, turn: tuple[int, bool], tmp_path: Path) -> None:
    """ST 268-1 table 2: 0 left to right, top to bottom; 1 right to left; 2 bottom to top; 3 both."""
    write_dpx(
        tmp_path / "a.1.dpx", np.zeros((4, 8, 3), int), bits=10, packing="A", order=">", orientation=code
    )
    facts = probe(tmp_path)
    assert (facts.rotation, facts.mirrored) == turn


def test_a_rate_of_exposure_beside_the_rate_of_playing(tmp_path: Path) -> None:
    write_picture(
        tmp_path / "a.1.exr",
        RAMP.astype(np.float32),
        "half",
        FramesPerSecond=(24000, 1001),
        captureRate=(48, 1),
    )
    facts = probe(tmp_path)
    assert (str(facts.rate), str(facts.capture_rate)) == ("23.976", "48")


@pytest.mark.parametrize(
    ("rate", "word", "wanted"),
    [
        (24.0, "23:59:59:23", "23:59:59:23"),
        (29.97, "00:59:59:29", "00:59:59:29"),
        (30.0, "00:59:59:2A", "00:00:00:05"),  # no label: the file number counts
        (25.0, "23:59:59:24", "23:59:59:24"),
    ],
)
def test_timecode_of_a_dpx(rate: float, word: str, wanted: str, tmp_path: Path) -> None:
    codes = np.zeros((4, 8, 3), int)
    write_dpx(tmp_path / "a.05.dpx", codes, bits=10, packing="A", order=">", timecode=word, rate=rate)
    assert str(probe(tmp_path).timecode) == wanted


def test_drop_frame_and_pairs_of_a_timecode_word(tmp_path: Path) -> None:
    """SMPTE ST 12-1: bit 30 of the word's frames is drop-frame; above 30 a second frames count in pairs."""
    codes = np.zeros((4, 8, 3), int)
    settings = {"bits": 10, "packing": "A", "order": ">"}
    write_dpx(tmp_path / "a.1.dpx", codes, timecode="00:58:59:61", rate=29.97, **settings)  # 21 with the flag
    assert str(probe(tmp_path).timecode) == "00:58:59;21"
    write_dpx(tmp_path / "a.1.dpx", codes, timecode="00:58:D9:61", rate=59.94, **settings)
    assert str(probe(tmp_path).timecode) == "00:58:59;43"


@pytest.mark.parametrize(
    ("rate", "label", "number", "wanted"),
    [
        ((24, 1), "23:59:59:23", 7, "23:59:59:23"),
        ((30000, 1001), "10:00:00:29", 7, "10:00:00:29"),
        ((24, 1), "", 86400 * 24 + 5, "00:00:00:05"),  # file numbers wrap at midnight
        ((25, 1), "", 90, "00:00:03:15"),
    ],
)
def test_timecode_of_an_exr(
    rate: tuple[int, int], label: str, number: int, wanted: str, tmp_path: Path
) -> None:
    pixels = RAMP.astype(np.float32)
    for n in range(2):
        path = tmp_path / f"a.{number + n:08}.exr"
        spec = oiio.ImageSpec(37, 20, 3, "half")
        spec.attribute("FramesPerSecond", oiio.TypeRational, rate)
        if label:
            spec.attribute("smpte:TimeCode", oiio.TypeTimeCode, (int(label.replace(":", ""), 16), 0))
        writer = oiio.ImageOutput.create(str(path))
        assert writer.open(str(path), spec) and writer.write_image(pixels)
        writer.close()
    facts = probe(tmp_path)
    assert (str(facts.timecode), facts.timecode_from) == (wanted, "header" if label else "file number")
    if wanted == "23:59:59:23":
        assert str(facts.timecode + 1) == "00:00:00:00"


def test_a_file_of_another_size_or_cut_short_is_damage(tmp_path: Path) -> None:
    codes = np.full((20, 30, 3), 500)
    for n in range(4):
        write_dpx(tmp_path / f"a.{n}.dpx", codes, bits=10, packing="A", order=">")
    write_dpx(tmp_path / "a.1.dpx", codes[:10], bits=10, packing="A", order=">")
    data = (tmp_path / "a.2.dpx").read_bytes()
    (tmp_path / "a.2.dpx").write_bytes(data[:-200])
    (tmp_path / "a.3.dpx").write_bytes(data[:100])
    _, pictures, damage = read(tmp_path)
    assert [bool(d) for d in damage] == [False, True, True, True] and "30x10" in damage[1]
    assert all((p == 500).all() for p in pictures)  # the last good one is held


# --- chromaticities


def signal_of(facts: Facts, encoding: str) -> tuple[str, tuple[str, ...]]:
    signal, warnings = resolve_signal([Stated(who="the list", encoding=encoding)], facts)
    return signal.encoding.name, warnings


@pytest.mark.parametrize(
    ("gamut", "encoding"),
    [
        ("AP0", "ACES2065-1"),
        ("AP1", "ACEScg"),
        ("Rec.709", "Linear Rec.709"),
        ("Rec.2020", "Linear Rec.2020"),
    ],
)
def test_chromaticities_of_the_header_say_which_linear_it_is(
    gamut: str, encoding: str, tmp_path: Path
) -> None:
    of = GAMUTS[gamut]
    stated = (*of.red, *of.green, *of.blue, *of.white)
    write_picture(tmp_path / "a.1.exr", RAMP.astype(np.float32), "half", chromaticities=stated)
    facts = probe(tmp_path)
    assert signal_of(facts, "linear") == (encoding, ())
    other = "ACEScg" if gamut != "AP1" else "ACES2065-1"
    name, warnings = signal_of(facts, other)  # what the list names is believed, and the doubt is said
    assert name == other and "chromaticities" in warnings[0]


def test_unknown_or_no_chromaticities_are_never_guessed(tmp_path: Path) -> None:
    linear = find_encoding("linear")
    for stated in ((), (0.6, 0.3, 0.3, 0.6, 0.15, 0.06, 0.3127, 0.329), (0.6, 0.3)):
        with pytest.raises(EncodingError, match="chromaticities"):
            by_header(linear, stated)
    write_picture(tmp_path / "a.1.exr", RAMP.astype(np.float32), "half")
    with pytest.raises(EncodingError, match="say which it is: ACEScg, ACES2065-1"):
        signal_of(probe(tmp_path), "linear")


@pytest.mark.parametrize("rate", [(0, 1), (1, 100), (2147483647, 1), (1, 0)])
def test_a_rate_that_is_none_is_as_if_it_were_not_there(tmp_path: Path, rate: tuple[int, int]) -> None:
    pixels = np.full((8, 8, 3), 0.5, np.float16)
    write_picture(tmp_path / "a.0001.exr", pixels, "half", FramesPerSecond=rate)
    facts = probe(tmp_path / "a.0001.exr")
    assert str(facts.rate) == "24" and facts.rate_from == "assumed"


def test_numbers_too_far_apart_are_no_sequence(tmp_path: Path) -> None:
    """Stills named by the moment they were taken: nobody waits for the ten thousand million between."""
    for name in ("a_20260504120000.tif", "a_20250504120000.tif"):
        write_picture(tmp_path / name, np.full((8, 8, 3), 500, np.uint16), "uint16")
    with pytest.raises(SourceError, match="which is no sequence"):
        probe(tmp_path)


def test_a_raster_that_no_camera_makes_is_refused(tmp_path: Path) -> None:
    write_picture(tmp_path / "a.0001.exr", np.full((8, 8, 3), 0.5, np.float16), "half")
    data = (tmp_path / "a.0001.exr").read_bytes()
    window = struct.pack("<4i", 0, 0, 7, 7)
    assert data.count(window) == 2
    (tmp_path / "a.0001.exr").write_bytes(data.replace(window, struct.pack("<4i", 0, 0, 99_999, 99_999)))
    with pytest.raises(SourceError):
        probe(tmp_path / "a.0001.exr")
