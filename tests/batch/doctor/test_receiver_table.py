"""The table and the page of test clips: a line an area, tags as people say them, and nothing of a name taken for markup."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from browsers import stopped
from rushlight.batch.doctor.receiver_clip import Area, ReceiverClip
from rushlight.batch.doctor.receiver_table import COLUMNS, page, table, tags_text
from rushlight.pipelines.colour.displays import find_display

AREA = Area(
    name="dark skin",
    box=(124, 92, 96, 78),
    rgb=(0.3757, 0.2475, 0.1938),
    eight=(96, 63, 49),
    codes=(75, 119, 143),
    nits=4.675,
    uv=(0.2668, 0.5068),
)


def clip(
    tags: tuple[int, int, int, str] = (1, 1, 1, "narrow"), display: str = "sRGB", **given: Any
) -> ReceiverClip:
    delivered = SimpleNamespace(tags=tags, pixel_format="yuv420p", width=1280, height=720)
    values = {"output": "viewing", "path": Path("/tmp/x/viewing.mp4"), **given}
    return ReceiverClip(
        display=find_display(display), delivered=cast("Any", delivered), areas=(AREA,), **values
    )


@pytest.mark.parametrize(
    ("tags", "says"),
    [
        ((1, 1, 1, "narrow"), "1-1-1 narrow (BT.709)"),
        ((1, 13, 1, "full"), "1-13-1 full (sRGB)"),
        ((9, 16, 9, "narrow"), "9-16-9 narrow (PQ)"),
        ((9, 18, 9, "narrow"), "9-18-9 narrow (HLG)"),
        ((9, 14, 9, "narrow"), "9-14-9 narrow"),
    ],
)
def test_tags_are_said_in_numbers_and_a_name(tags: tuple[int, int, int, str], says: str) -> None:
    assert tags_text(clip(tags)) == says


def test_a_line_an_area() -> None:
    head, line = csv.reader(io.StringIO(table(clip())))
    assert tuple(head) == COLUMNS and len(line) == len(head)
    assert line[:5] == ["dark skin", "124", "92", "96", "78"]
    assert dict(zip(head, line, strict=True))["code Cr"] == "143"


def test_the_page_is_escaped_and_shows_colours_of_sdr_alone() -> None:
    made = page(
        "<b>ours</b>", [clip(output="<i>v</i>"), clip((9, 16, 9, "narrow"), "PQ BT.2100", output="hdr")]
    )
    assert stopped(made) == [] and "<b>ours" not in made and "<i>v" not in made
    assert made.count("96x78 at 124, 92") == 2 and made.count('fill="#603f31"') == 1
