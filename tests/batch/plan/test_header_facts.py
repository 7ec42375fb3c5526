"""What headers of originals state of the camera, from files that others wrote: FFmpeg's command, OpenImageIO."""

import json
from pathlib import Path

import numpy as np
import OpenImageIO as oiio
import pytest

import independent
from here import rushlight
from pictures import settled, texture


def movie(path: Path, **tags: str) -> None:
    stated = [
        part for key, text in tags.items() for part in ("-metadata", f"{key.replace('__', '.')}={text}")
    ]
    encoder = ("-c:v", "prores_ks") if path.suffix == ".mov" else ("-c:v", "mpeg2video", "-q:v", "2")
    free = ("-movflags", "use_metadata_tags") if path.suffix == ".mov" else ()
    kind = "yuv422p10le" if path.suffix == ".mov" else "yuv422p"
    settled(independent.write(path, [texture(kind, 128, 72)] * 4, *encoder, *free, *stated))


def frame(path: Path, **attributes: object) -> None:
    path.parent.mkdir(exist_ok=True)
    spec = oiio.ImageSpec(128, 72, 3, oiio.HALF if path.suffix == ".exr" else oiio.UINT16)
    for name, value in attributes.items():
        kind = ("uint",) if isinstance(value, int) else ()
        spec.attribute(name.replace("__", ":"), *kind, value)
    out = oiio.ImageOutput.create(str(path))
    assert out.open(str(path), spec) and out.write_image(np.zeros((72, 128, 3), np.float32))
    out.close()
    settled(path)


@pytest.fixture(scope="module")
def card(tmp_path_factory: pytest.TempPathFactory) -> Path:
    card = tmp_path_factory.mktemp("card")
    quicktime = "com__apple__quicktime"
    movie(
        card / "A001C001.mov",
        **{
            f"{quicktime}__make": "Halden",
            f"{quicktime}__model": "H7",
            f"{quicktime}__camera__lens_model": "N35",
        },
        org__halden__shutter_angle="180",
        scene="12A",
    )
    movie(card / "B001C001.mxf", company_name="Halden", product_name="H9")
    frame(
        card / "C001C001" / "C001C001.0001.exr",
        **{"cameraMake": "Halden", "cameraModel": "H5", "cameraSerialNumber": "0042", "lensModel": "N50"},
        **{"lensSerialNumber": "N501", "nominalFocalLength": 50.0, "tStop": 2.1, "isoSpeed": 800.0},
        **{"cameraCCTSetting": 5600.0, "cameraTintSetting": 3.0, "shutterAngle": 172.8, "ownersMark": "x"},
    )
    frame(
        card / "D001C001" / "D001C001.0001.dpx",
        **{"dpx__InputDevice": "H3", "dpx__InputDeviceSerialNumber": "7", "dpx__ShutterAngle": 90.0},
    )
    frame(
        card / "E001C001" / "E001C001.0001.tif",
        **{"Make": "Halden", "Model": "H1", "Exif__LensModel": "N20", "Exif__BodySerialNumber": "9"},
        **{"Exif__ISOSpeed": 400, "ExposureTime": 1 / 50, "FNumber": 4.0},
    )
    rows = ["A001C001.mov,1600,", "B001C001.mxf,,Norrin 20 mm", "C001C001,,", "D001C001,,", "E001C001,,"]
    (card / "day.csv").write_text("clip,iso,lens\n" + "\n".join(rows) + "\n")
    return card


def planned(card: Path, *options: str) -> str:
    run = rushlight("plan", card / "day.csv", "--encoding", "LogC3", "--rate", "24", *options)
    assert run.returncode == 0, run.stderr
    return run.stdout


@pytest.fixture(scope="module")
def plan(card: Path) -> dict[str, dict]:
    return {clip["clip"]: clip for clip in json.loads(planned(card, "--json"))["clips"]}


@pytest.mark.parametrize(
    ("clip", "wanted"),
    [
        ("A001C001.mov", {"make": "Halden", "model": "H7", "lens": "N35", "iso": "1600", "shutter": "180°"}),
        ("B001C001.mxf", {"make": "Halden", "model": "H9", "lens": "Norrin 20 mm"}),
        (
            "C001C001",
            {
                "make": "Halden",
                "model": "H5",
                "serial": "0042",
                "lens": "N50",
                "lens_serial": "N501",
                "iso": "800",
            }
            | {"focal_length": "50 mm", "t_stop": "T2.1", "wb": "5600K", "tint": "+3", "shutter": "172.8°"},
        ),
        ("D001C001", {"model": "H3", "serial": "7", "shutter": "90°"}),
        (
            "E001C001",
            {"make": "Halden", "model": "H1", "serial": "9", "lens": "N20", "iso": "400"}
            | {"shutter": "1/50 s", "aperture": "f/4"},
        ),
    ],
)
def test_facts(plan: dict[str, dict], clip: str, wanted: dict[str, str]) -> None:
    named = {
        f"camera_{name}" if name in ("make", "model", "serial") else name: v for name, v in wanted.items()
    }
    found = {name: fact["value"] for name, fact in plan[clip]["camera_facts"].items()}
    assert found == named


def test_who_says_so_and_the_header_as_it_is(plan: dict[str, dict]) -> None:
    facts = plan["A001C001.mov"]["camera_facts"]
    assert facts["iso"]["said_by"] == "the list"
    assert facts["lens"]["said_by"] == "its header (com.apple.quicktime.camera.lens_model)"
    assert plan["B001C001.mxf"]["camera_facts"]["lens"]["said_by"] == "the list"
    assert plan["A001C001.mov"]["header"]["scene"] == "12A"
    assert plan["C001C001"]["header"]["ownersMark"] == "x"


def test_plan_says_it_once_for_clips_alike(card: Path) -> None:
    text = " ".join(planned(card).split())
    assert "camera: Halden H7; N35; ISO 1600; 180°, by list and header: A001C001.mov" in text
    assert "camera: H3 no. 7; 90°, by the header: D001C001" in text
    wanted = "Halden H5 no. 0042; N50 at 50 mm no. N501; T2.1; ISO 800; 5600K, tint +3; 172.8°"
    assert f"camera: {wanted}, by the header: C001C001" in text
