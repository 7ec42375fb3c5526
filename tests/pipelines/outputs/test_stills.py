"""Stills: exact rounding, the profile an outsider reads, and what is refused."""

import io
import struct
import time
import zlib
from pathlib import Path

import av
import numpy as np
import OpenImageIO as oiio
import pytest

from rushlight.pipelines.colour.displays import Display, displays, find_display
from rushlight.pipelines.colour.icc_profile import profile
from rushlight.pipelines.errors import DeliveryError
from rushlight.pipelines.formats.pixel_formats import planes
from rushlight.pipelines.outputs.stills import EXTENSIONS, KINDS, read_still, write_still

REC709 = find_display("Rec.709 BT.1886")


@pytest.mark.parametrize("kind", KINDS)
def test_values_come_back(kind: str, tmp_path: Path) -> None:
    rgb = np.zeros((32, 48, 3))
    rgb[..., 0], rgb[..., 1], rgb[..., 2] = np.linspace(0, 1, 48), np.linspace(1, 0, 32)[:, None], 0.25
    path = tmp_path / f"a{EXTENSIONS[kind]}"
    write_still(path, rgb, kind, display=REC709)
    step = {"jpeg": 0.02, "exr": 5e-4}.get(kind, 0.5 / (65535 if kind.endswith("16") else 255) + 1e-12)
    assert np.abs(read_still(path) - rgb).max() <= step


def test_the_same_bytes_every_time(tmp_path: Path) -> None:
    rgb = np.random.default_rng(0).random((20, 20, 3))
    for name in ("a", "b"):
        for kind in KINDS:
            (tmp_path / kind).mkdir(exist_ok=True)
            write_still(tmp_path / kind / f"{name}{EXTENSIONS[kind]}", rgb, kind, display=REC709)
        time.sleep(1.1)  # a clock inside a file would show
    for kind in KINDS:
        assert (tmp_path / kind / f"a{EXTENSIONS[kind]}").read_bytes() == (
            tmp_path / kind / f"b{EXTENSIONS[kind]}"
        ).read_bytes(), kind


def test_nan_and_out_of_range_are_black_and_clipped(tmp_path: Path) -> None:
    rgb = np.array([[[np.nan, -1, 2]]])
    write_still(tmp_path / "a.tif", rgb, "tiff16", display=REC709)
    assert read_still(tmp_path / "a.tif").tolist() == [[[0, 0, 1]]]


@pytest.mark.parametrize("kind", [k for k in KINDS if k != "exr"])
def test_the_profile_says_rec709_bt1886(kind: str, tmp_path: Path) -> None:
    path = tmp_path / f"a{EXTENSIONS[kind]}"
    write_still(path, np.full((8, 8, 3), 0.5), kind, display=REC709)
    reader = oiio.ImageInput.open(str(path))
    spec = reader.spec()
    assert spec.getattribute("ICCProfile:profile_description") == "Rec.709 BT.1886"
    assert bytes(spec.getattribute("ICCProfile")) == profile(REC709)
    reader.close()


def profile_tags(data: bytes) -> dict[str, bytes]:
    """Tags of an ICC profile by signature (ICC.1:2022, 7.3)."""
    found = {}
    for n in range(struct.unpack_from(">I", data, 128)[0]):
        name, place, size = struct.unpack_from(">4sII", data, 132 + 12 * n)
        assert place % 4 == 0 and place + size <= len(data)
        found[name.decode()] = data[place : place + size]
    return found


def test_the_profile_is_laid_out_as_the_standard_says() -> None:
    """Colorants of BT.709 primaries in the D50 of the connection space: as published in the ICC's sRGB profiles
    (sRGB v4 Appearance is another; sRGB2014.icc has .4361 .2225 .0139, .3851 .7169 .0971, .1431 .0606 .7141)."""
    for display in displays():
        data = profile(display)
        if data is None:
            continue
        size, version, kind, space, connection = struct.unpack_from(">I4xI4s4s4s", data)
        assert size == len(data) and data[36:40] == b"acsp" and len(data) % 4 == 0
        assert (version, kind, space, connection) == (0x04400000, b"mntr", b"RGB ", b"XYZ ")
        tags = profile_tags(data)
        points = [np.array(struct.unpack(">3i", tags[f"{c}XYZ"][8:])) / 65536 for c in "rgb"]
        assert np.allclose(sum(points), (0.9642, 1, 0.8249), atol=3e-4)  # white is the connection space's
        if display.name in ("Rec.709 BT.1886", "sRGB"):
            published = [(0.4361, 0.2225, 0.0139), (0.3851, 0.7169, 0.0971), (0.1431, 0.0606, 0.7141)]
            assert np.allclose(points, published, atol=3e-4)
        function, gamma = struct.unpack_from(">H2xi", tags["gTRC"], 8)
        expected = {"bt1886": (0, 2.4), "gamma2.6": (0, 2.6), "srgb": (3, 2.4)}[display.curve]
        assert (function, gamma / 65536) == (expected[0], pytest.approx(expected[1], abs=1e-5))


def test_the_profile_through_littlecms() -> None:
    """LittleCMS (in Pillow) takes the profile: every grey by a pure 2.4 power, neutral, to 1/2 of L*'s 8-bit step."""
    cms = pytest.importorskip("PIL.ImageCms")
    image = pytest.importorskip("PIL.Image")
    data = profile(REC709)
    assert data is not None
    ours = cms.ImageCmsProfile(io.BytesIO(data))
    transform = cms.buildTransform(ours, cms.createProfile("LAB"), "RGB", "LAB", renderingIntent=1)
    for code in (64, 124, 188, 255):
        light = (code / 255) ** 2.4
        found = cms.applyTransform(image.new("RGB", (1, 1), (code, code, code)), transform).getpixel((0, 0))
        assert found[0] / 2.55 == pytest.approx(116 * light ** (1 / 3) - 16, abs=0.2)  # CIE 15:2018, 8.2.1
        assert found[1:] == (128, 128)  # neutral: a* and b* are stored from 128
    assert cms.getProfileDescription(ours).strip() == "Rec.709 BT.1886"
    noise = image.fromarray(np.random.default_rng(1).integers(0, 256, (64, 64, 3), np.uint8))
    srgb = profile(find_display("sRGB"))
    assert srgb is not None
    found = [
        np.asarray(
            cms.applyTransform(noise, cms.buildTransform(p, cms.createProfile("LAB"), "RGB", "LAB", 1)), int
        )
        for p in (cms.ImageCmsProfile(io.BytesIO(srgb)), cms.createProfile("sRGB"))
    ]
    assert np.abs(found[0] - found[1]).max() <= 1  # and our sRGB is LittleCMS's own


def png_chunks(path: Path) -> dict[str, bytes]:
    """Chunks of a PNG by name (PNG, third edition, clause 5.3)."""
    data, place, found = path.read_bytes(), 8, {}
    while place < len(data):
        size, name = struct.unpack_from(">I4s", data, place)
        found[name.decode()] = data[place + 8 : place + 8 + size]
        place += 12 + size
    return found


@pytest.mark.parametrize("display", displays(), ids=lambda d: d.name)
def test_a_png_claims_one_colour_only(display: Display, tmp_path: Path) -> None:
    """A profile, or for PQ and HLG the code points; never sRGB beside it."""
    path = tmp_path / "a.png"
    write_still(path, np.zeros((8, 8, 3)), "png16", display=display)
    chunks = png_chunks(path)
    assert not {"sRGB", "gAMA", "cHRM", "tIME"} & set(chunks)
    if display.transfer in (16, 18):
        assert chunks["cICP"] == bytes([9, display.transfer, 0, 1]) and "iCCP" not in chunks
    else:
        name, _, data = chunks["iCCP"].partition(b"\0")
        assert name and zlib.decompress(data[1:]) == profile(display) and "cICP" not in chunks


@pytest.mark.parametrize("kind", ["jpeg", "tiff8"])
def test_nothing_says_srgb_beside_the_profile(kind: str, tmp_path: Path) -> None:
    path = tmp_path / f"a{EXTENSIONS[kind]}"
    write_still(path, np.zeros((8, 8, 3)), kind, display=REC709)
    reader = oiio.ImageInput.open(str(path))
    assert reader.spec().getattribute("Exif:ColorSpace") is None
    reader.close()


def test_jpeg_is_bt601_full_and_444(tmp_path: Path) -> None:
    """JFIF 1.02: Y'CbCr of 256 levels by BT.601. A flat red is (76, 85, 255), read as planes by an outsider."""
    path = tmp_path / "a.jpg"
    write_still(path, np.broadcast_to([1.0, 0.0, 0.0], (16, 32, 3)), "jpeg", display=REC709)
    with av.open(str(path)) as image:
        frame = next(image.decode(video=0))
    assert frame.format.name == "yuvj444p"
    assert [int(plane[8, 16]) for plane in planes(frame)] == [76, 85, 255]


@pytest.mark.parametrize(
    ("kind", "top"), [("png16", 65535), ("tiff16", 65535), ("png8", 255), ("tiff8", 255)]
)
def test_codes_are_rounded_not_cut(kind: str, top: int, tmp_path: Path) -> None:
    """Half a code below and above each whole one, as close as a float has it."""
    codes = np.linspace(1, top - 1, 300).round()
    values = np.stack([codes - 0.499, codes, codes + 0.499], -1)[None] / top
    path = tmp_path / f"a{EXTENSIONS[kind]}"
    write_still(path, values, kind)
    assert (np.rint(read_still(path) * top) == codes[None, :, None]).all()


def test_exr_says_that_it_is_aces(tmp_path: Path) -> None:
    """SMPTE ST 2065-1 primaries and white, halfs, values kept as they are: negatives, and the largest half."""
    path = tmp_path / "a.exr"
    values = np.array([[[-0.25, 0.18, 65504.0], [np.nan, np.inf, 1e9]]])
    write_still(path, values, "exr")
    reader = oiio.ImageInput.open(str(path))
    spec = reader.spec()
    assert np.allclose(
        spec.getattribute("chromaticities"),
        (0.7347, 0.2653, 0, 1, 0.0001, -0.077, 0.32168, 0.33767),
        atol=1e-6,
    )
    assert str(spec.format) == "half"
    reader.close()
    wanted = [[[-0.25, np.float16(0.18), 65504.0], [0.0, 65504.0, 65504.0]]]
    assert (read_still(path) == wanted).all()


def test_hdr_displays_have_no_profile() -> None:
    assert [d.name for d in displays() if profile(d) is None] == ["PQ BT.2100", "HLG BT.2100"]


def test_what_is_cut_short_is_found(tmp_path: Path) -> None:
    for kind in ("jpeg", "tiff16", "png8"):
        path = tmp_path / f"a{EXTENSIONS[kind]}"
        write_still(path, np.random.default_rng(0).random((64, 64, 3)), kind, display=REC709)
        path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
        with pytest.raises(DeliveryError):
            read_still(path)
    with pytest.raises(DeliveryError):
        write_still(tmp_path / "no" / "such" / "a.tif", np.zeros((4, 4, 3)), "tiff8")
