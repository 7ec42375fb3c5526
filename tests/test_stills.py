"""Stills: exact rounding, the profile an outsider reads, and what is refused."""

import io
import time
from pathlib import Path

import numpy as np
import OpenImageIO as oiio
import pytest
from rushlight.pipelines.display import displays, find_display
from rushlight.pipelines.errors import DeliveryError
from rushlight.pipelines.icc import profile
from rushlight.pipelines.stills import EXTENSIONS, KINDS, read_still, write_still

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


def test_the_profile_through_littlecms() -> None:
    """LittleCMS (in Pillow) takes the profile: grey .18^(1/2.4) is L* 49.5, and red is BT.709's red in D50."""
    cms = pytest.importorskip("PIL.ImageCms")
    image = pytest.importorskip("PIL.Image")
    data = profile(REC709)
    assert data is not None
    ours = cms.ImageCmsProfile(io.BytesIO(data))
    transform = cms.buildTransform(ours, cms.createProfile("LAB"), "RGB", "LAB", renderingIntent=1)
    code = round(255 * 0.18 ** (1 / 2.4))
    light = (code / 255) ** 2.4
    pixel = cms.applyTransform(image.new("RGB", (1, 1), (code, code, code)), transform).getpixel((0, 0))
    assert pixel[0] / 2.55 == pytest.approx(116 * light ** (1 / 3) - 16, abs=0.4)
    assert (abs(pixel[1] - 128) <= 1 and abs(pixel[2] - 128) <= 1) or pixel[1] in (0, 255)
    assert cms.getProfileDescription(ours).strip() == "Rec.709 BT.1886"


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
