"""The reader of ACES Metadata Files: the standard's samples, samples of our own in both versions, and what is refused."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from aces_samples import (
    SAMPLES,
    STANDARD,
    UUID,
    V1,
    V2,
    clip_id,
    document,
    grade,
    look_file,
    need_standard,
    transform,
)
from rushlight.pipelines.colour.aces_metadata import AcesMetadata, parse_aces_metadata
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.errors import GradeError

LOGC4, ACESCCT = f"{V2}CSC.Arri.LogC4_to_ACES.a2.v1", f"{V2}CSC.Academy.ACEScct_to_ACES.a2.v1"
TO_LOGC4 = f"{V2}CSC.Arri.ACES_to_LogC4.a2.v1"
REC709 = f"{V2}Output.Academy.Rec709-D65_100nit_in_Rec709-D65_BT1886.a2.v1"


def read(text: str) -> AcesMetadata:
    return parse_aces_metadata(text.encode(), file="day.amf")


@pytest.mark.skipif(not SAMPLES, reason=f"needs the AMF samples in {STANDARD}")
@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.stem)
def test_every_sample_of_the_standard_is_read(path: Path) -> None:
    found = parse_aces_metadata(path.read_bytes(), file=str(path))
    assert found.version == "2.0" and found.uuid.startswith("urn:uuid:")


def test_the_samples_are_read_right() -> None:
    need_standard()
    by_name = {p.stem: parse_aces_metadata(p.read_bytes()) for p in SAMPLES}
    assert len(by_name) == 7
    bare = by_name["exampleMinimum"]
    assert (bare.input, bare.looks, bare.output, bare.clip_names) == (None, (), None, ())
    second = by_name["example2"]
    assert second.clip_names == ("A001C012", "A001_C012_AE0306")
    assert second.input and second.input.applied and second.input.name == "IDT.Acme.Camera.a1.v1"
    (look,) = second.looks
    assert look.applied and look.is_grade and second.cdl is None  # it is in the picture already
    assert look.cdl == CDL(slope=(2, 2, 2), offset=(0.1, 0.1, 0.1), description="Technical Grade")
    assert second.output and second.output.name == "RRT.a1.0.3 + ODT.Academy.P3D60_48nits.a1.0.3"
    third = by_name["example3"]
    assert [look.applied for look in third.looks] == [True, False] and third.archived == 1
    fifth = by_name["example5"]
    assert fifth.input and fifth.input.inverse and not fifth.input.applied
    assert fifth.input.name == "InvODT.Academy.Rec709_100nits_dim.a1.0.3 + InvRRT.a1.0.3"
    assert fifth.looks[1].transform and fifth.looks[1].transform.file == "showLook.clf"
    assert fifth.cdl and fifth.cdl.slope == (2, 2, 2)


@pytest.mark.parametrize("version", ["1.0", "2.0"])
def test_a_pipeline_is_read_in_order(version: str) -> None:
    text = document(
        transform("inputTransform", LOGC4),
        grade(LOGC4, to_space=TO_LOGC4),
        "<aces:workingLocation/>",
        look_file("show%20look.clf"),
        transform("outputTransform", REC709),
        clip=clip_id("A001C003", "A001C003_260504_R1AB.mov"),
        version=version,
    )
    found = read(text)
    assert found.version == version and found.uuid == UUID and found.file == "day.amf"
    assert found.clip_names == ("A001C003", "A001C003_260504_R1AB.mov")
    assert found.input and found.input.ids == (LOGC4,) and found.input.name == "CSC.Arri.LogC4_to_ACES.a2.v1"
    first, second = found.looks
    assert first.cdl == CDL(slope=(1.1, 1, 0.95), offset=(0.01, 0, -0.01), power=(1, 1.2, 1), saturation=0.9)
    assert first.from_space and first.from_space.ids == (LOGC4,)
    assert first.to_space and first.to_space.ids == (TO_LOGC4,)
    assert second.transform and second.transform.file == "show%20look.clf" and not second.is_grade
    assert found.output and found.output.ids == (REC709,)
    assert found.cdl == first.cdl


def test_a_grade_in_another_document_is_a_reference() -> None:
    look = (
        f'<aces:lookTransform applied="0"><aces:cdlWorkingSpace>'
        f"{transform('fromCdlWorkingSpace', LOGC4, applied='')}</aces:cdlWorkingSpace>"
        '<cdl:ColorCorrectionRef ref="garden_12A"/><aces:file>garden.ccc</aces:file></aces:lookTransform>'
    )
    (found,) = read(document(look)).looks
    assert found.correction == "garden_12A" and found.cdl is None and found.is_grade
    assert found.transform and found.transform.file == "garden.ccc"


@pytest.mark.parametrize(("text", "applied"), [("true", True), ("1", True), ("false", False), ("0", False)])
def test_applied_is_a_boolean_of_xml_schema(text: str, applied: bool) -> None:
    found = read(document(transform("inputTransform", LOGC4, applied=f' applied="{text}"')))
    assert found.input and found.input.applied is applied


NAMED = "names its transform once"
WRONG = {
    "no applied": (transform("inputTransform", LOGC4, applied=""), 'states applied="true"'),
    "applied maybe": (transform("inputTransform", LOGC4, applied=' applied="maybe"'), "'maybe'"),
    "an id that is no URN": (transform("inputTransform", "CSC.Arri.LogC4"), "takes an id that begins with"),
    "no name": ('<aces:inputTransform applied="false"/>', NAMED),
    "two names": (
        '<aces:outputTransform applied="false"><aces:file>a.clf</aces:file>'
        f"<aces:uuid>{UUID}</aces:uuid></aces:outputTransform>",
        NAMED,
    ),
    "a uuid that is none": (
        '<aces:outputTransform applied="false"><aces:uuid>urn:uuid:12</aces:uuid></aces:outputTransform>',
        "32 hex digits",
    ),
    "half an output of ACES 1": (
        '<aces:outputTransform applied="false"><aces:referenceRenderingTransform><aces:transformId>'
        f"{V1}RRT.a1.0.3</aces:transformId></aces:referenceRenderingTransform></aces:outputTransform>",
        "lacks <outputDeviceTransform>",
    ),
    "two inputs": (transform("inputTransform", LOGC4) * 2, "holds 2 of <inputTransform>"),
    "a CDL without its space": (
        grade(LOGC4).replace("aces:cdlWorkingSpace", "aces:other"),
        "without <cdlWorkingSpace>",
    ),
    "a space without a way back": (
        grade(LOGC4).replace("fromCdlWorkingSpace", "toCdlWorkingSpace"),
        "lacks <fromCdlWorkingSpace>",
    ),
    "SOP without Sat": (grade(LOGC4).replace("ASC_SAT", "Other"), "without <SatNode>"),
    "Sat without SOP": (grade(LOGC4).replace("ASC_SOP", "Other"), "without <SOPNode>"),
    "a space without a CDL": (
        grade(LOGC4).replace("ASC_SAT", "Other").replace("ASC_SOP", "Other"),
        "and no CDL",
    ),
    "a negative slope": (grade(LOGC4, slope="1 -1 1"), "slope is 0 or more"),
    "a power of 0": (grade(LOGC4, power="0 1 1"), "power is above 0"),
    "two numbers": (grade(LOGC4, offset="0 0"), "takes three numbers"),
    "decimal commas": (grade(LOGC4, offset="0,1 0,1 0,1"), "takes three numbers"),
    "no number": (grade(LOGC4, saturation="nan"), "saturation is 0 or more"),
}


@pytest.mark.parametrize(("pipeline", "words"), WRONG.values(), ids=WRONG)
def test_what_leaves_it_open_is_refused(pipeline: str, words: str) -> None:
    with pytest.raises(GradeError) as caught:
        read(document(pipeline))
    assert words in str(caught.value) and caught.value.file == "day.amf" and caught.value.key


def test_the_place_of_a_fault_is_said() -> None:
    with pytest.raises(GradeError) as caught:
        read(document(grade(LOGC4), grade(ACESCCT, slope="1 -1 1")))
    assert caught.value.key == "lookTransform[2].slope"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("<a", "not well-formed XML"),
        ("", "not well-formed XML"),
        ('<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>', "declares entities"),
        ("<ColorDecisionList/>", "it begins with <ColorDecisionList>"),
        (document(version="3.0"), "urn:ampas:aces:amf:v3.0"),
        (document().replace("aces:pipeline>", "aces:line>"), "lacks <pipeline>"),
    ],
)
def test_what_is_no_amf_is_refused(text: str, words: str) -> None:
    with pytest.raises(GradeError, match=words):
        read(text)


WHOLE = document(
    transform("inputTransform", LOGC4), grade(LOGC4, to_space=TO_LOGC4), transform("outputTransform", REC709)
).encode()


@given(st.integers(0, len(WHOLE) - 1), st.binary(max_size=12), st.integers(0, 40))
def test_a_damaged_file_is_read_or_refused(place: int, new: bytes, gone: int) -> None:
    try:
        parse_aces_metadata(WHOLE[:place] + new + WHOLE[place + gone :])
    except GradeError as error:
        assert str(error)
