"""ASC CDL v1.2. Vectors: OpenColorIO tests/cpu/ops/cdl/CDLOp_tests.cpp, made there by an independent implementation."""

from pathlib import Path

import numpy as np
import pytest
from defusedxml.ElementTree import fromstring
from hypothesis import given
from hypothesis import strategies as st

import ocio
from rushlight.pipelines.colour.cdl import (
    CDL,
    format_cc,
    format_ccc,
    format_cdl,
    format_edl_comments,
    parse_cdl,
    parse_edl_sat,
    parse_edl_sop,
)
from rushlight.pipelines.errors import GradeError

D1 = {
    "slope": (1.35, 1.1, 0.071),
    "offset": (0.05, -0.23, 0.11),
    "power": (0.93, 0.81, 1.27),
    "saturation": 1.23,
}
D2 = {
    "slope": (1.15, 1.10, 0.9),
    "offset": (0.05, 0.02, 0.07),
    "power": (1.2, 0.95, 1.13),
    "saturation": 0.87,
}
D3 = {"slope": (3.405, 1, 1), "offset": (-0.178,) * 3, "power": (1.095,) * 3, "saturation": 0.99}
CC1 = {"slope": (1, 1, 0.9), "offset": (-0.03, -0.02, 0), "power": (1.25, 1, 1), "saturation": 1.7}
CC2 = {"slope": (0.9, 0.7, 0.6), "offset": (0.1,) * 3, "power": (0.9,) * 3, "saturation": 0.7}
CC3 = {"slope": (1.2, 1.1, 1.0), "power": (0.9, 1.0, 1.2)}


@pytest.mark.parametrize(
    ("numbers", "given", "clamped", "free"),
    [
        (D1, (0.3278, 0.01, 1), (0.609399, 0, 0.113130), (0.645424, -0.260548, 0.149154)),
        (D1, (0.25, 0.5, 0.75), (0.422056, 0.401466, 0.035820), (0.422056, 0.401466, 0.035820)),
        (D1, (1.25, 1.5, 1.75), (1, 1, 0), (1.753162, 1.331130, -0.108181)),
        (D1, (-0.2, 0.5, 1.4), (0, 0.421096, 0.101225), (-0.327485, 0.431854, 0.111983)),
        (D1, (-0.25, -0.5, -0.75), (0, 0, 0.031735), (-0.211694, -0.817469, 0.174100)),
        (D1, (0, 0.8, 0.99), (0, 0.746748, 0.018691), (-0.045094, 0.746748, 0.018691)),
        (D1, (0, 0, 0), (0.071827, 0, 0.070533), (0.109661, -0.249088, 0.108368)),
        (D2, (0.65, 0.55, 0.20), (0.745644, 0.639197, 0.264149), None),
        (D2, (0.41, 0.81, 0.39), (0.499594, 0.897554, 0.428591), None),
        (D2, (0.25, 0.50, 0.75), (0.305035, 0.578779, 0.692558), None),
        (D3, (0.17, 0.23, 0), (0.364894, 0.039936, 0.0010621), (0.364765, 0.039808, -0.175286)),
        (D3, (0.97, 0.13, 0.23), (0.992154, 0.002154, 0.0410283), (3.454341, -0.040432, 0.045962)),
        (D3, (0.02, 0.13, 0), (0, 0, 0), (-0.109506, -0.048225, -0.176925)),
        (CC1, (0.18, 0.18, 0.18), (0.056513, 0.169818, 0.173218), None),
        (CC1, (0.5, 0.25, 0.75), (0.454387, 0.183824, 0.940324), None),
        (CC1, (0.9, 0.1, 0.05), (1, 0, 0), (1.261025, -0.031369, -0.090869)),
        (CC2, (0.5, 0.25, 0.75), (0.525741, 0.336049, 0.525741), None),
        (CC2, (-0.1, 0.5, 1.2), (0.1348, 0.46489, 0.709211), None),
        (CC1, (1, 1, 1), (0.957117, 0.986626, 0.850626), (0.957117, 0.986626, 0.850626)),
        (CC1, (-0.1, 0.5, 1.2), (0, 0.525153, 1), (-0.496544, 0.540456, 1.560456)),
        (CC2, (0.18, 0.18, 0.18), (0.290329, 0.264210, 0.250998), None),
        (CC2, (0.9, 0.1, 0.05), (0.748625, 0.247659, 0.217185), None),
        (CC2, (1, 1, 1), (0.955014, 0.827650, 0.762806), None),
        (CC3, (0.18, 0.18, 0.18), (0.251773, 0.198, 0.127740), (0.251773, 0.198, 0.127740)),
        (CC3, (0.5, 0.25, 0.75), (0.631446, 0.275, 0.708066), (0.631446, 0.275, 0.708066)),
        (CC3, (0.9, 0.1, 0.05), (1, 0.11, 0.027464), (1.07172, 0.11, 0.027464)),
        (CC3, (1, 1, 1), (1, 1, 1), (1.17832, 1.1, 1)),
        (CC3, (-0.1, 0.5, 1.2), (0, 0.55, 1), (-0.12, 0.55, 1.244565)),
    ],
)
def test_published_vectors(numbers: dict, given: tuple, clamped: tuple, free: tuple | None) -> None:
    assert CDL(**numbers).apply(given) == pytest.approx(clamped, abs=2e-6)
    if free is not None:
        assert CDL(**numbers, clamp=False).apply(given) == pytest.approx(free, abs=2e-6)


@pytest.mark.parametrize(
    ("mistake", "result"),
    [
        ("saturation first", (0.508913, 0.167525, 0.933772)),
        ("BT.601 luma", (0.431741, 0.161178, 0.917678)),
        ("offset first", (0.389155, 0.23, 0.675)),
    ],
)
def test_mistakes_that_the_vectors_would_find(mistake: str, result: tuple) -> None:
    """check_values.md section 2: what (.5, .25, .75) through cc0001 becomes where the order or the luma is wrong."""
    assert np.abs(CDL(**CC1).apply((0.5, 0.25, 0.75)) - result).max() > 0.005


def test_nan_and_infinities_with_the_clamp() -> None:
    assert CDL(**D1).apply([np.nan] * 3) == pytest.approx(
        CDL(**D1).apply([-9.0] * 3)
    )  # 0 after the offset: published
    assert CDL().apply([np.nan, np.inf, -np.inf]).tolist() == [0, 1, 0]
    assert CDL(**D1).apply([np.nan, np.inf, -np.inf]) == pytest.approx((0, 1, 0))  # published
    with np.errstate(invalid="ignore"):
        assert np.isnan(CDL(clamp=False).apply([np.nan, 0.1, 0.2])).any()


def test_any_shape_and_identity() -> None:
    grid = np.random.default_rng(0).random((4, 5, 3))
    assert CDL().apply(grid) == pytest.approx(grid)
    assert CDL(**D2).apply(grid).shape == grid.shape
    assert CDL(**D2).apply(grid)[2, 3] == pytest.approx(CDL(**D2).apply(grid[2, 3]))
    assert CDL().is_identity and not CDL(**D2).is_identity


def test_inverse_by_hand_inside_the_range() -> None:
    """Saturation, power, offset and slope undone in turn give the signal back."""
    cdl = CDL(**D2)
    signal = np.array([0.41, 0.45, 0.39])
    out = cdl.apply(signal)
    luma = out @ [0.2126, 0.7152, 0.0722]
    sop = luma + (out - luma) / cdl.saturation
    back = (sop ** (1 / np.array(cdl.power)) - np.array(cdl.offset)) / np.array(cdl.slope)
    assert back == pytest.approx(signal, abs=1e-9)


@pytest.mark.parametrize(
    ("numbers", "key"),
    [
        ({"slope": (-0.1, 1, 1)}, "slope"),
        ({"power": (1, 0, 1)}, "power"),
        ({"power": (1, -1, 1)}, "power"),
        ({"saturation": -0.5}, "saturation"),
        ({"offset": (float("nan"), 0, 0)}, "offset"),
        ({"slope": (1, 1)}, "slope"),
        ({"saturation": float("inf")}, "saturation"),
    ],
)
def test_illegal_numbers_name_their_key(numbers: dict, key: str) -> None:
    with pytest.raises(GradeError) as caught:
        CDL(**numbers)
    assert caught.value.key == key


BARE = "<ColorCorrection id='a'><SOPNode><Slope>{}</Slope><Offset>0 0 0</Offset><Power>1 1 1</Power></SOPNode></ColorCorrection>"


@pytest.mark.parametrize(
    "text",
    [
        "<ColorCorrection id='a'><SOPNode><Description>x</Description><Slope>1.0 1.0 0.9</Slope><Offset>-.03 -2e-2 0</Offset>"
        "<Power>1.25 1 1e0</Power></SOPNode><SatNode><Saturation>1.7</Saturation></SatNode></ColorCorrection>",
        "<?xml version='1.0'?><ColorCorrectionCollection xmlns='urn:ASC:CDL:v1.01'><InputDescription>i</InputDescription>"
        "<ColorCorrection id='a'><Description>one</Description><SATNode><Saturation> 1.7 </Saturation></SATNode><SOPNode>"
        "<Slope>1 1 .9</Slope><Offset>-0.03,-0.02,0</Offset><Power>1.25 1 1</Power></SOPNode></ColorCorrection></ColorCorrectionCollection>",
        "\ufeff<ColorDecisionList xmlns='urn:ASC:CDL:v1.2'><ColorDecision><MediaRef ref='m'/><ColorCorrection id='a'><SOPNode>"
        "<Slope>1 1 0.9</Slope><Offset>-.03 -.02 0</Offset><Power>1.25 1 1</Power><Description>late</Description></SOPNode>"
        "<SatNode><Description>s</Description><Saturation>1.7</Saturation></SatNode></ColorCorrection></ColorDecision></ColorDecisionList>",
    ],
)
def test_xml_spellings(text: str) -> None:
    (cdl,) = parse_cdl(text)
    assert cdl.id == "a"
    assert cdl.apply([0.18] * 3) == pytest.approx((0.056513, 0.169818, 0.173218), abs=2e-6)


@pytest.mark.parametrize(
    "text",
    [
        # a prefix for the namespace, a comment and an instruction inside, CDATA, an empty id
        "<?xml version='1.0' encoding='UTF-8'?><!-- made on set --><c:ColorCorrection xmlns:c='urn:ASC:CDL:v1.2' id=''>"
        "<?note here?><c:SOPNode><!-- x --><c:Slope><![CDATA[1 1 0.9]]></c:Slope><c:Offset>-.03 -2e-2 0</c:Offset>"
        "<c:Power>1.25 1 1e0</c:Power></c:SOPNode><c:SatNode><c:Saturation>1.7</c:Saturation></c:SatNode></c:ColorCorrection>",
        # no id at all, every kind of description in every place, line breaks between numbers
        "<ColorCorrection><Description>a</Description><InputDescription>log</InputDescription><ViewingDescription>v"
        "</ViewingDescription><SOPNode><Description>b</Description><Slope>1\n1\t0.9</Slope><Description>c</Description>"
        "<Offset>-0.03 -0.02 0</Offset><Power>1.25 1 1</Power></SOPNode><SatNode><Saturation>1.7</Saturation>"
        "<Description>d</Description></SatNode><Description>e</Description></ColorCorrection>",
    ],
)
def test_more_xml_spellings(text: str) -> None:
    for form in (text, text.encode(), b"\xef\xbb\xbf" + text.encode(), text.encode("utf-16")):
        if isinstance(form, bytes) and form[:2] == b"\xff\xfe" and "UTF-8" in text:
            continue  # a document that lies about its own encoding
        (cdl,) = parse_cdl(form)
        assert cdl.id == ""
        assert cdl.apply([0.18] * 3) == pytest.approx((0.056513, 0.169818, 0.173218), abs=2e-6)


def test_ids_may_repeat_and_clamping_is_chosen_in_so_many_words() -> None:
    twice = "<ColorCorrectionCollection>" + 2 * BARE.format("1.1 1 1") + "</ColorCorrectionCollection>"
    assert [c.id for c in parse_cdl(twice)] == ["a", "a"] and all(c.clamp for c in parse_cdl(twice))
    assert CDL().clamp and not CDL(clamp=False).clamp and "unclamped" in CDL(clamp=False).numbers()


@pytest.mark.parametrize("suffix", ["cc", "ccc", "cdl"])
def test_written_in_the_standard_s_form(suffix: str, tmp_path: Path) -> None:
    """Read by OpenColorIO, which takes no liberties: the same numbers; namespace, order and nodes as ASC CDL v1.2 has them."""
    grade = CDL(**D1, clamp=False, id="A001C003", description="warmer & darker")
    text = {"cc": format_cc(grade), "ccc": format_ccc([grade]), "cdl": format_cdl([grade])}[suffix]
    (tmp_path / f"x.{suffix}").write_text(text)
    values = np.random.default_rng(0).uniform(0, 1, (100, 3))
    theirs = ocio.through_file(values, tmp_path / f"x.{suffix}")
    assert grade.apply(values) == pytest.approx(theirs, abs=5e-5)
    root = fromstring(text)
    space = "{urn:ASC:CDL:v1.2}"
    wanted = {"cc": "ColorCorrection", "ccc": "ColorCorrectionCollection", "cdl": "ColorDecisionList"}
    assert root.tag == space + wanted[suffix]
    (correction,) = (n for n in root.iter() if n.tag == f"{space}ColorCorrection")
    assert correction.get("id") == "A001C003"
    assert [n.tag.removeprefix(space) for n in correction.iter()][1:] == [
        *("SOPNode", "Description", "Slope", "Offset", "Power"),
        *("SatNode", "Saturation"),
    ]


def test_missing_nodes_are_identity() -> None:
    (cdl,) = parse_cdl(
        "<ColorCorrection id='n'><SatNode><Saturation>0.9</Saturation></SatNode></ColorCorrection>"
    )
    assert (cdl.slope, cdl.saturation) == ((1, 1, 1), 0.9)
    assert parse_cdl("<ColorCorrection/>")[0].is_identity


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("<ColorCorrection><ASC_SOP><Slope>1 1 1</Slope></ASC_SOP></ColorCorrection>", "SOPNode"),
        ("<ColorCorrection><SOPNode/><ASC_SAT>0.9</ASC_SAT></ColorCorrection>", "SatNode"),
        (BARE.format("1 1 1").replace("<Power>1 1 1", "<Power>1 0 1"), "above 0"),
        (BARE.format("1 1 1</Slope><Slope>1 1 1"), "stated twice"),
        (BARE.format("1 1"), "three numbers"),
        (BARE.format("1 one 1"), "three numbers"),
        (BARE.format("-1 1 1"), "0 or more"),
        ("<nothing/>", "no ColorCorrection"),
        ("not xml", "well-formed"),
        (
            "<!DOCTYPE x [<!ENTITY a 'aaaa'><!ENTITY b '&a;&a;&a;'>]><ColorCorrection>&b;</ColorCorrection>",
            "refused",
        ),
        (
            "<!DOCTYPE x [<!ENTITY f SYSTEM 'file:///etc/passwd'>]><ColorCorrection>&f;</ColorCorrection>",
            "refused",
        ),
    ],
)
def test_wrong_xml_is_one_clear_error(text: str, words: str) -> None:
    with pytest.raises(GradeError, match=words) as caught:
        parse_cdl(text, file="a.cdl")
    assert caught.value.file == "a.cdl"


# Spellings: OpenTimelineIO's cmx3600 adapter, tests/sample_data/cdl.edl and test_cdl.py.
@pytest.mark.parametrize(
    "text",
    [
        "*ASC_SOP (0.1 0.2 0.3) (1.0 -0.0122 0.0305) (1.0 0.5 1.0)",
        "* ASC_SOP: (0.1 0.2 0.3) (1.0 -0.0122 0.0305) (1.0 0.5 1.0)",
        "* ASC_SOP:(0.1, 0.2, 0.3)(1.0, -0.0122, 0.0305)(1.0, 0.5, 1.0)",
        "* asc_sop : (0.1 0.2 0.3),(1.0 -0.0122 0.0305),(1.0 0.5 1.0)",
    ],
)
def test_edl_sop_spellings(text: str) -> None:
    assert parse_edl_sop(text) == ((0.1, 0.2, 0.3), (1.0, -0.0122, 0.0305), (1.0, 0.5, 1.0))


def test_edl_sat_other_comments_and_zero_power() -> None:
    assert parse_edl_sat("*ASC_SAT 0.9") == parse_edl_sat("* ASC_SAT: 0.9") == 0.9
    assert parse_edl_sop("* FROM CLIP NAME: A001") is None and parse_edl_sat("* FROM CLIP NAME: A001") is None
    with pytest.raises(GradeError, match="power"):
        parse_edl_sop("*ASC_SOP (0.1 0.2 0.3) (1.0 -0.0122 0.0305) (1.0 0.0 1.0)")
    with pytest.raises(GradeError, match="ASC_SOP"):
        parse_edl_sop("*ASC_SOP (0.1 0.2 0.3)")


numbers = st.floats(0.001, 5, allow_nan=False).map(lambda v: round(v, 6))
triples = st.tuples(numbers, numbers, numbers)
cdls = st.builds(
    CDL,
    slope=triples,
    offset=st.tuples(*[st.floats(-2, 2).map(lambda v: round(v, 6) + 0.0)] * 3),
    power=triples,
    saturation=numbers,
    id=st.text("abcXYZ019_<&\"'", min_size=1, max_size=8),
)


@given(st.lists(cdls, min_size=1, max_size=3))
def test_written_and_read_back(grades: list[CDL]) -> None:
    assert parse_cdl(format_ccc(grades)) == tuple(grades)
    assert parse_cdl(format_cdl(grades)) == tuple(grades)
    assert parse_cdl(format_cc(grades[0])) == (grades[0],)
    sop, sat = format_edl_comments(grades[0]).splitlines()
    assert parse_edl_sop(sop) == (grades[0].slope, grades[0].offset, grades[0].power)
    assert parse_edl_sat(sat) == grades[0].saturation


@given(st.text(max_size=200))
def test_junk_never_gives_anything_but_a_grade_error(text: str) -> None:
    for parse in (parse_cdl, parse_edl_sop, parse_edl_sat):
        try:
            parse(text)
        except GradeError:
            pass
