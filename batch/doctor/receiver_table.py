"""The values of a test clip for its receiver: a table for a spreadsheet, and a page that says what to look at and how to compare."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from rushlight.batch.doctor.receiver_clip import ReceiverClip
from rushlight.batch.report.page_templates import render_page
from rushlight.pipelines.formats.codecs import TRANSFERS

__all__ = ["COLUMNS", "page", "table", "tags_text"]

COLUMNS = (
    *("area", "x", "y", "width", "height", "R'", "G'", "B'", "R' of 255", "G' of 255", "B' of 255"),
    *("code Y'", "code Cb", "code Cr", "cd/m2", "u'", "v'"),
)
_HDR = {16: "PQ", 18: "HLG"}


def tags_text(clip: ReceiverClip) -> str:
    """Tags as people say them: `1-13-1 narrow (sRGB)`: primaries, transfer, matrix of H.273, levels."""
    primaries, transfer, matrix, levels = clip.delivered.tags
    name = {**TRANSFERS, **_HDR}.get(transfer, "")
    return f"{primaries}-{transfer}-{matrix} {levels}" + (f" ({name})" if name else "")


def _rows(clip: ReceiverClip) -> list[list[object]]:
    return [
        [area.name, *area.box, *area.rgb, *area.eight, *area.codes, area.nits, *area.uv]
        for area in clip.areas
    ]


def table(clip: ReceiverClip) -> str:
    """CSV, a line an area, in the order of the picture."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(_rows(clip))
    return text.getvalue()


def page(recipe: str, clips: Sequence[ReceiverClip]) -> str:
    """The page of all clips of a recipe."""
    parts = [
        {
            "output": clip.output,
            "file": clip.path.name,
            "display": clip.display.name,
            "hdr": clip.display.hdr,
            "tags": tags_text(clip),
            "bits": clip.delivered.pixel_format,
            "size": f"{clip.delivered.width}x{clip.delivered.height}",
            "areas": [
                {
                    "name": area.name,
                    "colour": "#{:02x}{:02x}{:02x}".format(*area.eight),
                    "box": "{2}x{3} at {0}, {1}".format(*area.box),
                    "eight": " ".join(map(str, area.eight)),
                    "codes": " ".join(map(str, area.codes)),
                    "nits": f"{area.nits:g}",
                    "uv": "{:.4f} {:.4f}".format(*area.uv),
                }
                for area in clip.areas
            ],
        }
        for clip in clips
    ]
    return render_page("receiver.html", title=f"Test clips of {recipe}", clips=parts)
