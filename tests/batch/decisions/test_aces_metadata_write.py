"""Written ACES Metadata Files: valid by the published schema, true of the look, and read back equal."""

import datetime
import itertools
import xml.etree.ElementTree as ET
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from urllib.parse import unquote

import numpy as np
import PyOpenColorIO as ocio
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from aces_samples import STANDARD, need_standard
from rushlight.batch.decisions.aces_metadata_write import (
    AcesClip,
    AcesDocument,
    aces_clip,
    aces_documents,
    same_document,
    unsaid_of,
)
from rushlight.pipelines.colour.aces_ids import encoding_of
from rushlight.pipelines.colour.aces_metadata import AcesMetadata, AcesTransform, parse_aces_metadata
from rushlight.pipelines.colour.camera_encodings import Encoding, encodings, find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import displays, find_display
from rushlight.pipelines.colour.look import Look, ShowLut
from rushlight.pipelines.luts.lattice_lut import identity_lut
from rushlight.pipelines.luts.lut_file import parse_lut
from rushlight.pipelines.luts.scene_conversion import encoding_of_lut

MADE = datetime.datetime(2026, 5, 4, 22, 30, tzinfo=datetime.timezone(datetime.timedelta(hours=2)))
CLIP = AcesClip(name="A001C003", original="A001C003 day 1.mov", levels="narrow")
GRADE = CDL(slope=(1.1, 1 / 3, 0.9), offset=(-0.01, 1e-7, 0.02), power=(1.0, 1.2, 0.95), saturation=0.9)
REC709 = find_display("Rec.709 BT.1886")
ALL = [
    e for e in encodings() if e.name != "Linear by header"
]  # a clip has the encoding that its header states
ALL += [find_encoding("LogC3", exposure_index=index) for index in (400, 800)]


def look(encoding: str | Encoding = "LogC4", **given: object) -> Look:
    space = find_encoding(encoding) if isinstance(encoding, str) else encoding
    return Look(**({"encoding": space, "display": REC709, "cdl": GRADE} | given))  # type: ignore[arg-type]


def written(found: Look, clip: AcesClip | None = CLIP) -> AcesDocument:
    return aces_documents(found, clip, made=MADE)


def read(document: AcesDocument) -> AcesMetadata:
    return parse_aces_metadata(document.text.encode())


@cache
def schema() -> etree.XMLSchema:
    return etree.XMLSchema(etree.parse(str(STANDARD / "schema" / "acesMetadataFile.xsd")))


def valid(document: AcesDocument) -> bool:
    need_standard()
    found = schema()
    answer: bool = found.validate(etree.fromstring(document.text.encode()))
    assert answer, found.error_log
    return answer


def meant(transform: AcesTransform, document: AcesDocument) -> Encoding | None:
    """The encoding that a transform leads from: by the registry's id, or by what the file beside the document does."""
    if transform.ids:
        return encoding_of(transform.ids[0])
    name = unquote(transform.file)
    return encoding_of_lut(parse_lut(document.files[name].encode(), file=name))


@pytest.mark.parametrize("encoding", ALL, ids=lambda e: f"{e.name} {e.exposure_index or ''}")
def test_it_is_valid_for_every_encoding_and_read_back(encoding: Encoding) -> None:
    found = look(encoding, exposure=0.5, transform="none" if encoding.kind == "video" else "aces2")
    document = written(found)
    assert valid(document)
    again = read(document)
    assert again.clip_names == ("A001C003", "A001C003 day 1.mov")
    assert (again.input is None) == (encoding.name == "ACES2065-1")
    assert again.input is None or meant(again.input, document) == encoding
    correction, grade = again.looks
    assert correction.transform and correction.transform.file and not correction.is_grade
    assert grade.cdl is not None and grade.from_space
    assert (grade.cdl.slope, grade.cdl.offset, grade.cdl.power, grade.cdl.saturation) == (
        GRADE.slope, GRADE.offset, GRADE.power, GRADE.saturation,
    )  # fmt: skip
    assert meant(grade.from_space, document) == found.working
    assert grade.to_space is None or encoding_of(grade.to_space.ids[0], to_aces=False) == found.working


@pytest.mark.parametrize("display", displays(), ids=lambda d: d.name)
def test_it_is_valid_for_every_display(display: object) -> None:
    found = look(display=display)
    document = written(found)
    assert valid(document)
    output = read(document).output
    if display.name == "Rec.2020 BT.1886":  # type: ignore[attr-defined]
        assert output is None and "no transform id for Rec.2020 BT.1886" in " ".join(document.unsaid)
    else:
        assert output is not None and document.unsaid == ()


def test_a_grade_in_acescct_says_so() -> None:
    (grade,) = read(written(look(cdl_space="ACEScct"))).looks
    assert grade.from_space and grade.from_space.name == "CSC.Academy.ACEScct_to_ACES.a2.v1"


def test_a_clip_without_a_grade_has_no_look() -> None:
    document = written(look(cdl=None))
    assert valid(document) and read(document).looks == () and document.files == {}


LOGC4 = find_encoding("LogC4")
CUBE = ShowLut(name="show & tell", lut=identity_lut(2))


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"show_lut": CUBE}, 'Show LUT "show & tell"'),
        ({"transform": "colorimetric"}, "without tone mapping"),
        ({"transform": "none"}, "as it is"),
        ({"grade_order": "after"}, "after the show transform"),
        ({"printer_points": (1.0, 0.0, -2.5)}, "Printer points +1 +0 -2.5"),
        ({"cdl": CDL(clamp=False)}, "not clamped"),
        (
            {"show_lut": replace(CUBE, scene=LOGC4)},
            "leads from ARRI LogC4/Wide Gamut 4 to ARRI LogC4/Wide Gamut 4",
        ),
    ],
)
def test_what_cannot_be_said_is_said_to_be_left_out(given: dict[str, object], words: str) -> None:
    found = look(**given)
    document = written(found)
    assert valid(document)
    (sentence,) = document.unsaid
    assert words in sentence and tuple(unsaid_of(found)) == document.unsaid
    assert sentence in read(document).description
    if "show_lut" in given or "transform" in given:
        assert read(document).output is None
    if "grade_order" in given:
        assert read(document).looks == ()


def test_a_lut_from_aces_to_aces_is_a_look_file_after_the_grade() -> None:
    aces = find_encoding("ACES2065-1")
    found = look(show_lut=replace(CUBE, encoding=aces, scene=aces))
    document = aces_documents(found, CLIP, made=MADE, look_file=("show look.clf", "<clf/>"))
    assert valid(document) and document.files == {"show look.clf": "<clf/>"} and document.unsaid == ()
    again = read(document)
    assert [x.is_grade for x in again.looks] == [True, False] and again.output is not None
    assert again.looks[1].transform and again.looks[1].transform.file == "show%20look.clf"
    (sentence,) = written(found).unsaid  # its file is not at hand
    assert "leads from ACES2065-1 to ACES2065-1" in sentence and read(written(found)).output is None


@pytest.mark.parametrize("given", [{"exposure": -0.75}, {"white_balance": (0.4476, 0.4074)}, {"exposure": 1.0, "white_balance": (0.33, 0.34)}])  # fmt: skip
@pytest.mark.parametrize("encoding", ["S-Log3/S-Gamut3.Cine", "ACEScg"])
def test_exposure_and_white_balance_are_a_look_file_ahead_of_the_grade(
    tmp_path: Path, encoding: str, given: dict[str, object]
) -> None:
    """OpenColorIO applies the file to the same numbers as the look does."""
    found = look(encoding, **given)
    document = written(found)
    ((name, text),) = document.files.items()
    first, second = read(document).looks
    assert first.transform and first.transform.file == name.replace(" ", "%20") and second.is_grade
    (tmp_path / "correction.clf").write_text(text)
    config = ocio.Config.CreateRaw()
    transform = ocio.FileTransform(src=str(tmp_path / "correction.clf"))
    signal = np.array(list(itertools.product([0.2, 0.45, 0.7], repeat=3)))
    values = found.working.to_ap0(signal).astype(np.float32)
    config.getProcessor(transform).getDefaultCPUProcessor().applyRGB(values)
    np.testing.assert_allclose(values, found.working.to_ap0(found.correct(signal)), rtol=2e-5, atol=1e-6)


def test_levels_look_and_digest_stand_in_the_description() -> None:
    found = look()
    words = read(written(found)).description
    assert (
        "Levels of the original: narrow." in words and found.digest() in words and found.describe() in words
    )


def test_a_document_is_a_function_of_what_it_says_but_for_its_dates() -> None:
    first = written(look())
    later = aces_documents(look(), CLIP, made=MADE + datetime.timedelta(days=1))
    assert first.text != later.text and same_document(first.text, later.text)
    assert "2026-05-04T20:30:00Z" in first.text
    others = [
        written(look(cdl=CDL(slope=(1.1, 1, 1)))),
        written(look(), AcesClip(name="A001C004")),
        written(look(), None),
        written(look(display=find_display("P3-D65"))),
    ]
    uuids = {read(each).uuid for each in [first, *others]}
    assert len(uuids) == 5 and read(later).uuid in uuids
    assert not any(same_document(first.text, each.text) for each in others)
    root = ET.fromstring(first.text)
    both = [n.text for n in root.iter() if n.tag.endswith("uuid")]
    assert len(both) == len(set(both)) == 2  # the document's and its pipeline's


def sequence(**given: object) -> SimpleNamespace:
    files = tuple(Path(f"/card/B002_C001.{k:07}.dpx") for k in range(86400, 86424))
    return SimpleNamespace(**{"kind": "sequence", "path": Path("/card"), "files": files, "first_number": 86400, "frames": 24} | given)  # fmt: skip


def test_a_sequence_is_named_by_its_files() -> None:
    clip = aces_clip("B002_C001", sequence(), "full")  # type: ignore[arg-type]
    assert (clip.original, clip.numbers) == ("B002_C001.#######.dpx", (86400, 86423))
    document = written(look(), clip)
    assert valid(document)
    assert read(document).clip_names == ("B002_C001",)


def test_a_clip_of_which_only_the_name_is_known() -> None:
    document = written(look(), AcesClip(name="take two"))
    assert valid(document) and read(document).clip_names == ("take two",)


@given(st.text(min_size=1, max_size=30), st.text(max_size=30))
def test_any_name_makes_a_well_formed_document(name: str, original: str) -> None:
    read(written(look(), AcesClip(name=name, original=original)))


numbers = st.floats(0, 4, allow_nan=False)


@given(
    st.tuples(*[numbers] * 3),
    st.tuples(*[st.floats(-1, 1)] * 3),
    st.tuples(*[st.floats(0.01, 4)] * 3),
    numbers,
)
def test_numbers_come_back_bit_for_bit(
    slope: object, offset: object, power: object, saturation: float
) -> None:
    cdl = CDL(slope=slope, offset=offset, power=power, saturation=saturation)  # type: ignore[arg-type]
    again = read(written(look(cdl=cdl))).cdl
    assert again is not None
    assert again.numbers() == cdl.numbers() and (again.slope, again.offset, again.power, again.saturation) == (
        cdl.slope, cdl.offset, cdl.power, cdl.saturation,
    )  # fmt: skip
