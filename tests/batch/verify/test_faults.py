"""What codecs do to colour and what wrong colour does, measured on the real originals: the two never overlap."""

from pathlib import Path

import pytest

from faults import Found, distributions
from rushlight.batch.verify.colour_check import HALF
from rushlight.pipelines.formats.codecs import CODECS


def held(rows: list[Found]) -> None:
    right = [r for r in rows if r.fault == "none"]
    assert right and {r.verdict for r in right} <= {"pass", "cannot tell"}, right
    for row in rows:
        if row.fault == "none":
            assert row.verdict == "cannot tell" or row.share < HALF / 2, row
        else:
            assert row.verdict in ("fail", "cannot tell"), row
    colourful = {(r.codec, r.clip) for r in right if r.verdict == "pass"}
    missed = [r for r in rows if r.fault != "none" and r.verdict != "fail" and (r.codec, r.clip) in colourful]
    assert not missed  # where the right one could be told, so can every wrong one
    assert {r.fault for r in rows if r.verdict == "fail"} >= {
        "saturation 0.05",
        "slope 0.02",
        "601/709",
        "narrow/full",
        "LUT twice",
        "swapped clips",
    }


def test_two_originals_through_two_codecs(tmp_path: Path) -> None:
    rows = distributions(
        tmp_path,
        ["dnxhr-lb", "h264"],
        clips=2,
        sizes=("480x270",),
        leave_out=("missing CDL",),
        seconds=0.25,
    )
    assert len({(r.codec, r.clip) for r in rows}) == 2 * 5
    assert sum(r.verdict == "fail" for r in rows) > 40
    held(rows)


@pytest.mark.slow
def test_all_originals_through_every_codec(tmp_path: Path) -> None:
    held(distributions(tmp_path, list(CODECS)))
