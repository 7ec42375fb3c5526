"""An AMF held against its clip: what fits, what is said, and what is refused with both names."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from aces_samples import SAMPLES, V1, V2, document, grade, look_file, need_standard, transform
from rushlight.batch.decisions.aces_fit import AcesFit, Correction, fitted, stated_encoding
from rushlight.batch.decisions.decision import GradeFiles
from rushlight.pipelines.colour.aces_metadata import AcesMetadata, AcesTransform, parse_aces_metadata
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.errors import GradeError
from rushlight.pipelines.luts.lattice_lut import identity_lut
from rushlight.pipelines.luts.lut_file import parse_lut
from rushlight.pipelines.luts.lut_nodes import AnyLut, Matrix, NodeLut
from rushlight.pipelines.luts.scene_conversion import clf_of_conversion
from rushlight.pipelines.recipe.model import LookSettings

LOGC4, TO_LOGC4 = f"{V2}CSC.Arri.LogC4_to_ACES.a2.v1", f"{V2}CSC.Arri.ACES_to_LogC4.a2.v1"
SLOG3 = f"{V2}CSC.Sony.SLog3_SGamut3Cine_to_ACES.a2.v1"
ACESCCT = f"{V2}CSC.Academy.ACEScct_to_ACES.a2.v1"
OUTPUT = f"{V2}Output.Academy."
REC709, P3 = (
    f"{OUTPUT}Rec709-D65_100nit_in_Rec709-D65_BT1886.a2.v1",
    f"{OUTPUT}P3-D65_48nit_in_P3-D65_Gamma2pt6.a2.v1",
)
RRT, ODT = f"{V1}RRT.a1.0.3", f"{V1}ODT.Academy.Rec709_100nits_dim.a1.0.3"
ACES1 = (
    '<aces:outputTransform applied="false">'
    f"{transform('referenceRenderingTransform', RRT, applied='')}{transform('outputDeviceTransform', ODT, applied='')}"
    "</aces:outputTransform>"
)
INPUT, GRADE = transform("inputTransform", LOGC4), grade(LOGC4, to_space=TO_LOGC4)
APPLIED = ' applied="true"'


LUTS: dict[str, AnyLut] = {
    "half.clf": NodeLut(nodes=(Matrix(matrix=np.eye(3) * 0.5, offset=np.zeros(3)),)),
    "mixed.clf": NodeLut(nodes=(Matrix(matrix=np.eye(3)[::-1], offset=np.zeros(3)),)),
    "film.clf": identity_lut(3),
    "in.clf": parse_lut(
        clf_of_conversion(find_encoding("F-Log2"), ident="x", name="x").encode(), file="in.clf"
    ),
}


class Given(GradeFiles):
    """Look files that lie nowhere."""

    def look_file(self, path: Path) -> AnyLut:
        return LUTS[str(path)]


FILES = Given()


def placed(aces: AcesMetadata) -> AcesMetadata:
    """The same with every file where it is said to be."""

    def at(one: AcesTransform | None) -> AcesTransform | None:
        return one and replace(one, path=one.file)

    looks = [
        replace(each, **{name: at(getattr(each, name)) for name in ("transform", "to_space", "from_space")})
        for each in aces.looks
    ]
    return replace(aces, input=at(aces.input), looks=tuple(looks))


def held(
    *pipeline: str,
    encoding: str = "LogC4",
    lut: str = "",
    version: str = "2.0",
    stated: Correction = (0.0, None),
    **look: object,
) -> AcesFit:
    aces = parse_aces_metadata(document(*pipeline, version=version).encode(), file="a.amf")
    return fitted(
        placed(aces),
        find_encoding(encoding),
        LookSettings(**look),  # type: ignore[arg-type]
        lut=lut,
        stated=stated,
        files=FILES,
    )


@pytest.mark.parametrize("version", ["1.0", "2.0"])
@pytest.mark.parametrize(
    ("pipeline", "encoding", "space"),
    [
        ((), "LogC4", None),
        ((INPUT,), "LogC4", None),
        ((INPUT, GRADE, transform("outputTransform", REC709)), "LogC4", "log"),
        ((INPUT, grade(ACESCCT)), "LogC4", "ACEScct"),
        ((grade(ACESCCT),), "ACES2065-1", "log"),  # what scene-linear originals are graded in
        ((transform("inputTransform", f"{V1}IDT.ARRI.ARRI-LogC4.a1.v1"), GRADE), "LogC4", "log"),
        ((grade(f"{V1}ACEScsc.Academy.ACEScct_to_ACES.a1.0.3"),), "S-Log3/S-Gamut3.Cine", "ACEScct"),
        ((transform("inputTransform", f"{V1}ACEScsc.Academy.LogC_EI800_AWG_to_ACES.a1.1.0"),), "LogC3", None),
    ],
)
def test_what_fits_is_taken(
    pipeline: tuple[str, ...], encoding: str, space: str | None, version: str
) -> None:
    assert held(*pipeline, encoding=encoding, version=version) == AcesFit(grade_space=space)  # type: ignore[arg-type]


def test_the_recipes_space_gives_way_to_the_files() -> None:
    assert held(GRADE, grade_space="ACEScct").grade_space == "log"


BY_FILE = '<aces:inputTransform applied="false"><aces:file>in.clf</aces:file></aces:inputTransform>'
IN_FLOG2 = grade("IN").replace("<aces:transformId>IN</aces:transformId>", "<aces:file>in.clf</aces:file>")


def test_an_encoding_without_an_id_is_known_by_what_its_file_does() -> None:
    assert held(BY_FILE, IN_FLOG2, encoding="F-Log2").grade_space == "log"
    aces = parse_aces_metadata(document(BY_FILE).encode())
    assert stated_encoding(placed(aces), FILES) == find_encoding("F-Log2")


def test_exposure_ahead_of_the_grade_is_taken_as_the_rows() -> None:
    assert held(look_file("half.clf"), GRADE).cells == {"exposure": "-1.0"}
    assert held(look_file("half.clf"), GRADE, stated=(-1.0, None)).cells == {}  # the row says so itself
    assert held(look_file("half.clf")).cells == {"exposure": "-1.0"}


def test_a_look_file_after_the_grade_is_a_lut_from_scene_to_scene() -> None:
    cells = {"lut": "film.clf", "lut_input": "ACES2065-1", "lut_output": "ACES2065-1"}
    assert held(GRADE, look_file("film.clf")).cells == cells
    assert held(look_file("film.clf")).cells == cells
    assert held(look_file("half.clf"), GRADE, look_file("film.clf"), lut="film.clf").cells == {
        "exposure": "-1.0",
        **cells,
    }


INVERSE = (
    '<aces:inputTransform applied="false">'
    f"{transform('inverseOutputTransform', f'{V2}InvOutput.Academy.X.a2.v1', applied='')}</aces:inputTransform>"
)
REFUSED = {
    "another camera": ((INPUT,), {"encoding": "S-Log3/S-Gamut3.Cine"}, ("ARRI LogC4/Wide Gamut 4", "S-Log3/S-Gamut3.Cine")),
    "another gamut": (
        (transform("inputTransform", SLOG3),),
        {"encoding": "S-Log3/S-Gamut3"},
        ("S-Log3/S-Gamut3.Cine", "clip is S-Log3/S-Gamut3"),
    ),
    "another exposure index": (
        (transform("inputTransform", f"{V2}CSC.Arri.LogC3_to_ACES.a2.v1"),),
        {"encoding": "LogC3 EI 400"},
        ("EI 800", "EI 400"),
    ),
    "an input nobody knows": (
        (transform("inputTransform", f"{V1}IDT.Acme.Camera.a1.v1"),),
        {},
        ("IDT.Acme.Camera.a1.v1", "ARRI LogC4"),
    ),
    "an input by file": ((BY_FILE,), {}, ("F-Log2/F-Gamut (by in.clf)", "ARRI LogC4")),
    "an input by a file that is none": ((BY_FILE.replace("in.clf", "film.clf"),), {}, ("film.clf", "not known here", "ARRI LogC4")),
    "an inverse output": ((INVERSE,), {}, ("InvOutput.Academy.X.a2.v1", "ARRI LogC4")),
    "a grade in another log": ((grade(SLOG3),), {}, ("S-Log3/S-Gamut3.Cine", "ARRI LogC4")),
    "a grade in ACEScc": ((grade(f"{V2}CSC.Academy.ACEScc_to_ACES.a2.v1"),), {}, ("ACEScc/AP1", "ARRI LogC4")),
    "a grade in a space nobody knows": ((grade(f"{V2}CSC.Acme.X_to_ACES.a1.v1"),), {}, ("CSC.Acme.X_to_ACES", "ARRI LogC4")),
    "there by one space and back by another": (
        (grade(ACESCCT, to_space=TO_LOGC4),),
        {},
        ("ACES_to_LogC4", "ACEScct_to_ACES"),
    ),
    "two grades": ((GRADE, grade(ACESCCT)), {}, ("2 grades",)),
    "a grade after the show transform": ((GRADE,), {"grade_order": "after"}, ("ahead of the show transform", "after")),
    "a look by id": (
        (transform("lookTransform", f"{V2}Look.Academy.ReferenceGamutCompress.a2.v1"),),
        {},
        ("Look.Academy.ReferenceGamutCompress.a2.v1", "not done here"),
    ),
    "a correction that is none": ((look_file("mixed.clf"), GRADE), {}, ("mixed.clf", "no exposure and white balance of ARRI LogC4")),
    "two corrections": ((look_file("half.clf"), look_file("half.clf"), GRADE), {}, ("half.clf, half.clf",)),
    "another exposure": ((look_file("half.clf"), GRADE), {"stated": (0.5, (0.4, 0.4))}, ("exposure -1 stops ahead of its grade (by half.clf)", "exposure +0.5 stops and white x 0.4000")),
    "two look files": ((GRADE, look_file("film.clf"), look_file("mixed.clf")), {}, ("film.clf, mixed.clf",)),
    "a look file and a show LUT": ((GRADE, look_file("film.clf")), {"lut": "show"}, ("film.clf", "show LUT 'show'")),
    "a rendering of ACES 1": ((ACES1,), {}, ("RRT.a1.0.3 + ODT.Academy.Rec709_100nits_dim.a1.0.3", "ACES 2.0 on Rec.709 BT.1886")),
    "somebody's own rendering": ((transform("outputTransform", f"{V2}Output.Acme.X.a1.v1"),), {}, ("Output.Acme.X.a1.v1", "ACES 2.0 on")),
}  # fmt: skip


@pytest.mark.parametrize(("pipeline", "given", "names"), REFUSED.values(), ids=REFUSED)
def test_what_does_not_fit_is_refused_with_both_names(
    pipeline: tuple[str, ...], given: dict[str, str], names: tuple[str, ...]
) -> None:
    with pytest.raises(GradeError) as caught:
        held(*pipeline, **given)  # type: ignore[arg-type]
    text = str(caught.value)
    assert all(name in text for name in ("the ACES Metadata File a.amf", *names)), text
    assert caught.value.key == "cdl"


SAID = {
    "another display": ((transform("outputTransform", P3),), {}, ("P3-D65_48nit", "ACES 2.0 on Rec.709 BT.1886")),
    "a LUT for the rendering of ACES 1": ((ACES1,), {"lut": "show"}, ("RRT.a1.0.3", "show LUT 'show'")),
    "no tone mapping": ((transform("outputTransform", REC709),), {"transform": "colorimetric"}, ("Rec709-D65", "no tone mapping")),
    "an input that is in the picture": ((transform("inputTransform", LOGC4, applied=APPLIED),), {}, ("applied already", "ARRI LogC4")),
    "a grade that is in the picture": ((grade(SLOG3, applied="true"),), {}, ("1.1 1 0.95", "not done again")),
    "a look that is in the picture": ((look_file("a.clf", applied="true"),), {}, ("look a.clf", "not done again")),
    "an output that is in the picture": ((transform("outputTransform", P3, applied=APPLIED),), {}, ("applied already", "ACES 2.0 on")),
}  # fmt: skip


@pytest.mark.parametrize(("pipeline", "given", "names"), SAID.values(), ids=SAID)
def test_what_is_otherwise_is_said(
    pipeline: tuple[str, ...], given: dict[str, str], names: tuple[str, ...]
) -> None:
    fit = held(*pipeline, **given)  # type: ignore[arg-type]
    assert fit.grade_space is None
    (text,) = fit.warnings
    assert text.startswith("a.amf: ") and all(name in text for name in names), text


def test_what_is_in_a_picture_of_aces_is_as_it_should_be() -> None:
    assert held(transform("inputTransform", LOGC4, applied=APPLIED), encoding="ACES2065-1") == AcesFit()


VERDICTS = {
    "exampleMinimum": "",
    "example1": "seen through RRTODT.Academy.Rec2020_1000nits_15nits_ST2084.a1.1.0, another rendering",
    "example2": "seen through RRT.a1.0.3 + ODT.Academy.P3D60_48nits.a1.0.3, another rendering",
    "example3": "has the look LMT.ACME.AcmeDILook.a1.v5",
    "example4": "takes a picture made for a display",
    "example5": "takes a picture made for a display",
    "example6": "takes a picture made for a display",
}


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.stem)
def test_every_sample_of_the_standard_fits_or_is_refused_with_the_reason(path: Path) -> None:
    need_standard()
    aces = parse_aces_metadata(path.read_bytes(), file=path.name)
    if not VERDICTS[path.stem]:
        assert fitted(aces, find_encoding("LogC4"), LookSettings(), files=FILES) == AcesFit()
        return
    with pytest.raises(GradeError, match=VERDICTS[path.stem].replace("+", r"\+")):
        fitted(aces, find_encoding("LogC4"), LookSettings(), files=FILES)


def test_an_input_transform_states_the_encoding() -> None:
    def stated(*pipeline: str) -> object:
        return stated_encoding(parse_aces_metadata(document(*pipeline).encode()), FILES)

    assert stated(INPUT) == find_encoding("LogC4")
    assert stated(transform("inputTransform", LOGC4, applied=APPLIED)) is None
    assert stated(INVERSE) is None is stated()
