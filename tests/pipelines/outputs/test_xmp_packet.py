"""XMP packets: parsed by an XML parser, where a file holds them, and the picture as it was."""

import subprocess
from pathlib import Path

import numpy as np
import OpenImageIO as oiio
import pytest
from hypothesis import given
from hypothesis import strategies as st

import independent
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.errors import DeliveryError
from rushlight.pipelines.outputs.stills import EXTENSIONS, KINDS, read_still, write_still
from rushlight.pipelines.outputs.xmp_packet import with_xmp, xmp_packet
from xmp import properties

SAID = {"dc:title": "A001C001", "xmpDM:scene": "12A <&> é", "rushlight:note": "two\nlines"}


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "exr"])
def test_a_still_has_one_packet_and_the_same_picture(kind: str, tmp_path: Path) -> None:
    rgb = np.random.default_rng(3).random((24, 32, 3))
    path, plain = tmp_path / f"a{EXTENSIONS[kind]}", tmp_path / f"b{EXTENSIONS[kind]}"
    metadata = {"ImageDescription": "A001C001 01:00:00:00", "Make": "Halden", "Exif:LensModel": "N35"}
    display = find_display("Rec.709 BT.1886")
    write_still(path, rgb, kind, display=display, metadata=metadata, xmp=xmp_packet(SAID))
    write_still(plain, rgb, kind, display=display)
    assert properties(path.read_bytes()) == SAID
    assert (read_still(path) == read_still(plain)).all()
    reader = oiio.ImageInput.open(str(path))
    spec = reader.spec()
    assert spec.getattribute("ImageDescription") == "A001C001 01:00:00:00"
    assert spec.getattribute("ICCProfile:profile_description") == "Rec.709 BT.1886"
    if not kind.startswith("png"):
        assert (spec.getattribute("Make"), spec.getattribute("Exif:LensModel")) == ("Halden", "N35")
    reader.close()
    decoded = [
        subprocess.run(
            [independent.FFMPEG, "-v", "error", "-i", p, "-f", "rawvideo", "-"],
            capture_output=True,
            check=True,
        )
        for p in (path, plain)
    ]
    assert decoded[0].stdout == decoded[1].stdout != b"" and decoded[0].stderr == b""


def test_the_packet_of_a_library_goes() -> None:
    old = b"\xff\xe1\x00\x22http://ns.adobe.com/xap/1.0/\0old"
    jpeg = b"\xff\xd8\xff\xe0\x00\x04ab" + old + b"\xff\xe2\x00\x04cd" + old + b"\xff\xda rest"
    found = with_xmp(jpeg, "jpeg", b"new")
    assert b"old" not in found and found.startswith(b"\xff\xd8\xff\xe0\x00\x04ab\xff\xe1")
    assert found.endswith(b"http://ns.adobe.com/xap/1.0/\0new\xff\xe2\x00\x04cd\xff\xda rest")
    assert with_xmp(found, "jpeg", b"newer").count(b"ns.adobe.com") == 1


@pytest.mark.parametrize(
    ("kind", "data"), [("jpeg", b""), ("png8", b"\x89PNG"), ("tiff16", b"II*\0\x08\0\0\0\xff\xff")]
)
def test_what_is_no_still_is_refused(kind: str, data: bytes) -> None:
    with pytest.raises(DeliveryError, match="to put metadata into"):
        with_xmp(data, kind, b"packet")


@given(
    st.dictionaries(
        st.sampled_from(["dc:title", "xmpDM:scene", "rushlight:note", "exif:ISOSpeedRatings"]),
        st.text(max_size=60),
    )
)
def test_any_text_is_xml(said: dict[str, str]) -> None:
    found = properties(
        xmp_packet({name: text.encode("utf-8", "replace").decode() for name, text in said.items()})
    )
    assert found.keys() == said.keys()
    for name, text in said.items():
        if text.isprintable():
            assert found[name] == text


def test_texts_are_cut_where_a_jpeg_could_not_hold_them() -> None:
    said = {f"rushlight:n{n}": "\U0001f3ac" * 4000 for n in range(24)}
    assert len(xmp_packet(said)) <= 60_000
    assert set(properties(xmp_packet(said)).values()) == {"\U0001f3ac" * 200}
