"""Looks: layers in order, their words and digests, and the exact evaluation against OpenColorIO."""

from dataclasses import replace

import numpy as np
import pytest

import colour
import ocio
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.chart import PATCHES
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.gamuts import D65, white_xyz
from rushlight.pipelines.colour.look import Look, ShowLut, to_working, working_encoding
from rushlight.pipelines.errors import GradeError
from rushlight.pipelines.luts.lattice_lut import identity_lut
from rushlight.pipelines.luts.lut_nodes import Matrix, NodeLut

REC709 = find_display("Rec.709 BT.1886")
GRADE = CDL(slope=(1.1, 1, 0.95), offset=(0.01, 0, -0.02), power=(1.1, 1, 0.9), saturation=1.2)


def look(encoding: str = "LogC3", **layers: object) -> Look:
    return Look(encoding=find_encoding(encoding), display=REC709, **layers)  # type: ignore[arg-type]


AXIS = np.linspace(0.0, 1.0, 11)
CUBE = np.stack(np.meshgrid(AXIS, AXIS, AXIS, indexing="ij"), -1).reshape(-1, 3)
RAMP = np.repeat(np.linspace(0.0, 1.0, 1024)[:, None], 3, 1)


@pytest.mark.parametrize("name", [n for n in ocio.SPACES if find_encoding(n).kind == "log"])
def test_log_to_display_against_opencolorio(name: str) -> None:
    """Within one ten-bit code over an 11-cube and a ramp of 1,024, and 18 % grey at .38312 through every encoding."""
    encoding = find_encoding(name)
    for signal in (CUBE, RAMP):
        if name == "ACEScc/AP1":  # OpenColorIO clamps negative AP0 here
            signal = signal[(encoding.to_ap0(signal) >= 0).all(-1)]
        theirs = np.clip(ocio.displayed(signal, ocio.SPACES[name]), 0, 1)
        assert np.abs(look(name).evaluate(signal) - theirs).max() * 876 < 1
    assert look(name).evaluate([float(encoding.encode(0.18))] * 3) == pytest.approx([0.38312] * 3, abs=1e-4)


def test_grade_sits_in_the_log_signal_before_the_transform() -> None:
    code = np.array([[0.4, 0.42, 0.39], [0.6, 0.3, 0.2]])
    assert look(cdl=GRADE).evaluate(code) == pytest.approx(look().evaluate(GRADE.apply(code)))
    assert look(cdl=GRADE, grade_order="after").evaluate(code) == pytest.approx(
        GRADE.apply(look().evaluate(code))
    )
    assert look(cdl=GRADE).evaluate(code, "show") == pytest.approx(look().evaluate(code))
    assert look(cdl=GRADE).evaluate(code, "log") == pytest.approx(code)


def test_an_absent_cdl_does_nothing_and_a_default_one_clamps() -> None:
    over = np.array([1.05, 1.02, 1.04])
    assert look(cdl=CDL()).evaluate(over) == pytest.approx(look().evaluate([1.0, 1.0, 1.0]))
    assert not np.allclose(look(cdl=CDL()).graded(over), look().graded(over))


def test_grade_in_acescct() -> None:
    encoding, cct = find_encoding("LogC3"), find_encoding("ACEScct")
    code = np.array([0.4, 0.42, 0.39])
    graded = cct.to_ap0(GRADE.apply(cct.from_ap0(encoding.to_ap0(code))))
    assert look(cdl=GRADE, cdl_space="ACEScct").graded(code) == pytest.approx(encoding.from_ap0(graded))


def test_exposure_white_balance_and_printer_points() -> None:
    encoding = find_encoding("LogC3")
    grey = np.repeat(encoding.encode(0.18), 3)
    assert encoding.decode(look(exposure=1).correct(grey)) == pytest.approx([0.36] * 3)
    warm = look(white_balance=(0.4476, 0.4074)).correct(grey)  # CIE A
    assert warm[2] > grey[2] and warm[0] < grey[0]
    neutral = look(white_balance=(0.3127, 0.3290)).correct(grey)
    assert neutral == pytest.approx(grey, abs=1e-12)
    points = look(printer_points=(1, 0, -1))
    stop = encoding.encode(0.18 * 2 ** (1 / 12)) - encoding.encode(0.18)
    assert points.correct(grey) - grey == pytest.approx([stop, 0, -stop])


def test_corrections_back_in_any_shape_and_of_what_is_no_signal() -> None:
    """Exposure and white balance undone give the signal back; NaN stays NaN, negatives and infinities go through."""
    signal = np.random.default_rng(4).uniform(0.2, 0.7, (3, 4, 3))
    assert look(exposure=-1).correct(look(exposure=1).correct(signal)) == pytest.approx(signal, abs=1e-9)
    warm = look(white_balance=(0.4476, 0.4074))
    matrix = correction_matrix(warm)
    linear = warm.encoding.decode(warm.correct(signal)) @ np.linalg.inv(matrix).T
    assert warm.encoding.encode(linear) == pytest.approx(signal, abs=1e-9)
    points = look(printer_points=(3, 0, -3))
    assert look(printer_points=(-3, 0, 3)).correct(points.correct(signal)) == pytest.approx(signal)
    for one in (look(exposure=1), warm, points):
        assert one.correct(signal[0, 0]) == pytest.approx(one.correct(signal)[0, 0])
        assert np.isnan(one.correct([np.nan] * 3)).all()
        assert np.isfinite(one.correct([-0.05, -0.01, 0.0])).all()
        assert not np.isnan(one.correct([np.inf] * 3)).all()
        assert np.isfinite(one.evaluate([[np.nan] * 3, [np.inf] * 3, [-1.0] * 3])).all()


@pytest.mark.parametrize("name", ["LogC3", "S-Log3/S-Gamut3", "V-Log", "Log3G10", "Apple Log", "ACEScct"])
def test_a_card_of_the_stated_white_comes_out_neutral(name: str) -> None:
    """Illuminant A, D50 and a blue sky, as XYZ in the gamut's own primaries, seen by a camera that is set to D65."""
    encoding = find_encoding(name)
    gamut = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        white_xyz(encoding.gamut.white), white_xyz(D65), "CAT02"
    ) @ np.asarray(encoding.gamut.to_xyz())
    for x, y in ((0.4476, 0.4074), (0.3457, 0.3585), (0.28, 0.29)):
        card = np.linalg.solve(gamut, 0.18 * np.array([x / y, 1, (1 - x - y) / y]))
        seen = encoding.decode(look(name, white_balance=(x, y)).correct(encoding.encode(card)))
        assert seen == pytest.approx([0.18] * 3, rel=1e-6)
    signal = np.array([0.3, 0.5, 0.4])
    assert look(name, white_balance=D65).correct(signal) == pytest.approx(signal, abs=1e-12)


def correction_matrix(one: Look) -> np.ndarray:
    """What a white balance does to linear light, found by asking it."""
    encoding = one.encoding
    rows = [encoding.decode(one.correct(encoding.encode(v))) for v in np.eye(3) * 0.5]
    return np.array(rows).T / 0.5


def test_show_lut_levels_and_the_grade_it_may_contain() -> None:
    lut = ShowLut(name="plain", lut=identity_lut(17))
    code = np.array([0.2, 0.5, 0.8])
    assert look(show_lut=lut).evaluate(code) == pytest.approx(code)
    narrow = replace(lut, input_levels="narrow", output_levels="narrow")
    assert look(show_lut=narrow).evaluate(code) == pytest.approx(code)
    assert look(show_lut=replace(lut, output_levels="narrow")).evaluate(code) == pytest.approx(
        (code * 1023 - 64) / 876
    )
    with pytest.raises(GradeError, match="twice"):
        look(show_lut=replace(lut, contains_grade=True), cdl=GRADE)


def test_finished_video_keeps_its_light_on_another_display() -> None:
    code = np.array([[0.2, 0.5, 0.8], [0.5, 0.5, 0.5]])
    video = look("video", transform="none")
    assert video.evaluate(code) == pytest.approx(code)
    wide = replace(video, display=find_display("P3-D65"))
    assert wide.display.to_xyz(wide.evaluate(code)) == pytest.approx(REC709.to_xyz(code), abs=1e-9)
    with pytest.raises(GradeError, match="SDR and HDR"):
        replace(video, display=find_display("PQ"))


def test_digest_is_over_numbers_and_nothing_else() -> None:
    base = look(cdl=GRADE, show_lut=ShowLut(name="one", lut=identity_lut(5)))
    same = look(
        cdl=replace(GRADE, id="another", description="words"),
        show_lut=ShowLut(name="two", lut=identity_lut(5)),
    )
    assert base.digest() == same.digest()
    moved = replace(GRADE, slope=(GRADE.slope[0] + 0.0005, *GRADE.slope[1:]))
    others = [
        look(cdl=moved),
        look(cdl=GRADE),
        look("LogC4", cdl=GRADE),
        look(cdl=replace(GRADE, clamp=False)),
        look(exposure=0.1),
        look(),
    ]
    digests = [o.digest() for o in others]
    assert len({*digests, base.digest()}) == len(others) + 1


def test_description() -> None:
    text = look(
        "S-Log3/S-Gamut3.Cine", cdl=GRADE, show_lut=ShowLut(name="harbour", lut=identity_lut(3))
    ).describe()
    assert (
        text
        == 'S-Log3/S-Gamut3.Cine -> CDL 1.1 1 0.95 / 0.01 0 -0.02 / 1.1 1 0.9 / sat 1.2 -> show LUT "harbour" -> Rec.709 BT.1886'
    )


def test_description_of_all_layers_in_order() -> None:
    """What is there is named, in order, with its numbers; a printer point's step is stated."""
    whole = look(
        exposure=0.5,
        white_balance=(0.3457, 0.3585),
        printer_points=(1, 0, -2),
        cdl=GRADE,
        grade_order="after",
    )
    step = whole.encoding.encode(0.18 * 2 ** (1 / 12)) - whole.encoding.encode(0.18)
    assert whole.describe().split(" -> ") == [
        "ARRI LogC3/Wide Gamut 3 EI 800",
        "exposure +0.5 stops",
        "white x 0.3457 y 0.3585",
        f"printer points +1 +0 -2 of {step:.4f}",
        "ACES 2.0",
        "CDL 1.1 1 0.95 / 0.01 0 -0.02 / 1.1 1 0.9 / sat 1.2",
        "Rec.709 BT.1886",
    ]
    layers = whole.layers()
    assert [v["layer"] for v in layers] == [
        *("encoding", "exposure", "white balance", "printer points", "transform", "grade", "display")
    ]
    assert layers[3]["step"] == pytest.approx(step) and layers[4]["config"] == ocio.CONFIG
    assert layers[5] | {"space": "display", "clamp": True} == layers[5]
    with pytest.raises(GradeError, match="after the show transform"):
        replace(whole, cdl_space="ACEScct")


def test_scene_linear_originals_work_in_acescct() -> None:
    encoding = find_encoding("ACES2065-1")
    assert working_encoding(encoding).name == "ACEScct/AP1"
    ap0 = np.array(list(PATCHES.values()), np.float32)
    signal = to_working(ap0, encoding)
    assert signal.dtype == np.float32
    assert look("ACES2065-1").evaluate(signal) == pytest.approx(look("ACEScct").evaluate(signal))
    clean = to_working(np.array([[np.nan, np.inf, -np.inf]], np.float32), encoding)
    assert np.isfinite(clean).all()


def test_nan_is_black() -> None:
    assert look().evaluate([np.nan, 0.4, 0.4]) == pytest.approx([0, 0, 0], abs=1e-6)


def test_a_lut_may_give_a_scene_which_the_transform_shows() -> None:
    """A stop down in ACES2065-1 is a stop of exposure; nothing in ACEScct is nothing."""
    aces = find_encoding("ACES2065-1")
    half = NodeLut(nodes=(Matrix(matrix=np.eye(3) * 0.5, offset=np.zeros(3)),))
    code = np.random.default_rng(1).uniform(0.1, 0.8, (500, 3))
    for settings in ({}, {"transform": "colorimetric"}, {"display": find_display("PQ BT.2100")}):
        plain = replace(look("LogC4", cdl=GRADE), **settings)  # type: ignore[arg-type]
        down = replace(plain, show_lut=ShowLut(name="half", lut=half, encoding=aces, scene=aces))
        graded = plain.graded(code)
        assert down.evaluate(code) == pytest.approx(
            replace(plain, cdl=None, exposure=-1.0).evaluate(graded), abs=2e-5
        )
        assert down.stages(code)[-1][1] == pytest.approx(down.evaluate(code))
    acescct = find_encoding("ACEScct")
    same = ShowLut(name="same", lut=identity_lut(3), encoding=acescct, scene=acescct)
    assert look("LogC4", show_lut=same).evaluate(code) == pytest.approx(
        look("LogC4").evaluate(code), abs=1e-5
    )


def test_a_lut_that_gives_a_scene_is_said_with_the_transform() -> None:
    aces = find_encoding("ACES2065-1")
    shown = look("LogC4", show_lut=ShowLut(name="film", lut=identity_lut(2), encoding=aces, scene=aces))
    assert shown.describe().endswith(
        'show LUT "film" (ACES2065-1 full to ACES2065-1 full, tetrahedral) -> ACES 2.0 -> Rec.709 BT.1886'
    )
    layers = shown.layers()
    assert [v["layer"] for v in layers] == ["encoding", "show LUT", "transform", "display"]
    assert layers[1]["output_space"] == "ACES2065-1"
    bare = replace(shown, show_lut=replace(shown.show_lut, scene=None))
    assert shown.digest() != bare.digest()
    with pytest.raises(GradeError, match=r"gives ACES2065-1, which is for no display.*aces2") as caught:
        replace(shown, transform="none")
    assert caught.value.key == "lut_output"
