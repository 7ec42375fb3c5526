"""The published curves against colour-science's own implementation of them, over and under their range, and back."""

import colour.models as models
import numpy as np
import pytest

from rushlight.pipelines.colour.curves import EXPOSURE_INDEXES, Curve, find_curve

PUBLISHED = {
    "LogC4": "ARRILogC4",
    "S-Log": "SLog",
    "S-Log2": "SLog2",
    "S-Log3": "SLog3",
    "V-Log": "VLog",
    "Log3G10": "Log3G10",
    "Canon Log": "CanonLog",
    "Canon Log 2": "CanonLog2",
    "Canon Log 3": "CanonLog3",
    "F-Log": "FLog",
    "F-Log2": "FLog2",
    "N-Log": "NLog",
    "L-Log": "LLog",
    "Apple Log": "AppleLogProfile",
    "ACEScc": "ACEScc",
    "ACEScct": "ACEScct",
}
CODES = np.linspace(-0.1, 1.2, 4001)
LIGHT = np.concatenate([np.linspace(-0.1, 0.1, 4001), np.geomspace(0.1, 300, 2000)])


def judge(name: str, encode: object, decode: object, curve: Curve) -> None:
    with np.errstate(all="ignore"):
        for ours, theirs, given in ((curve.decode, decode, CODES), (curve.encode, encode, LIGHT)):
            found, wanted = ours(given), theirs(given)  # type: ignore[operator]
            assert found.shape == given.shape
            # Where two printed pieces do not quite meet, the last bit of a cut decides which one it is.
            off = np.abs(found - wanted) > 1e-12 + 1e-12 * np.abs(wanted)
            assert (off | np.isnan(found) != np.isnan(wanted)).sum() == 0, (name, given[off])


@pytest.mark.parametrize("name", PUBLISHED)
def test_as_colour_science_has_it(name: str) -> None:
    transfer = models.rgb.transfer_functions
    pair = (getattr(transfer, f"log_{way}coding_{PUBLISHED[name]}") for way in ("en", "de"))
    judge(name, *pair, find_curve(name))


@pytest.mark.parametrize("index", EXPOSURE_INDEXES)
def test_logc3_of_every_exposure_index(index: int) -> None:
    judge(
        f"LogC3 {index}",
        lambda x: models.log_encoding_ARRILogC3(x, EI=index),
        lambda y: models.log_decoding_ARRILogC3(y, EI=index),
        find_curve("LogC3", index),
    )


def test_curves_that_are_named_otherwise_there() -> None:
    transfer = models.rgb.transfer_functions
    judge(
        "Film Generation 5",
        transfer.oetf_BlackmagicFilmGeneration5,
        transfer.oetf_inverse_BlackmagicFilmGeneration5,
        find_curve("Film Generation 5"),
    )
    judge("BT.709", transfer.oetf_BT709, transfer.oetf_inverse_BT709, find_curve("BT.709"))


def test_unknown_curve() -> None:
    with pytest.raises(KeyError):
        find_curve("no such curve")
