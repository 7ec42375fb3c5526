"""The page of a delivery: the letter, and every file with a link that works from the disk it lies on."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from urllib.parse import quote

from rushlight.batch.disks import size_text
from rushlight.batch.handover.letter import sections
from rushlight.batch.handover.what_changed import Piece
from rushlight.batch.records.handover import Handover
from rushlight.batch.report.page_templates import render_page
from rushlight.batch.shown_time import shown_time
from rushlight.pipelines.counted import counted

__all__ = ["handover_page", "link_to"]


def link_to(path: str) -> str:
    """A relative URL (RFC 3986) of a file of the delivery, from its page."""
    return "./" + quote(os.fsencode(path), safe="/")


def handover_page(handover: Handover, pieces: Sequence[Piece], pictures: Mapping[str, str]) -> str:
    """The page. `pieces` are the files that the delivery holds, in the order of its record's; `pictures` small stills by job."""
    records = {piece.record.job: piece.record for piece in pieces}
    return render_page(
        "handover.html",
        title=f"{handover.title or 'Delivery'} · {handover.folder}",
        soft=f"closed {shown_time(handover.closed)} · for {handover.name} · number {handover.number}",
        sections=sections(handover, pieces),
        stills=[
            {
                "link": link_to(pictures[job]),
                "clip": record.clip,
                "facts": f"{record.reel or 'no reel'} · {record.first_timecode} · {counted(record.frames, 'frame')}",
            }
            for job, record in records.items()
            if job in pictures
        ],
        files=[
            {
                "link": link_to(piece.entry.path),
                "path": piece.entry.path,
                "clip": piece.record.clip,
                "scene": (piece.record.row or {}).get("scene", ""),
                "take": (piece.record.row or {}).get("take", ""),
                "start": piece.entry.first_timecode,
                "frames": piece.entry.frames,
                "size": size_text(piece.entry.bytes),
                "since": "in the first delivery" if piece.since == "first" else piece.since,
                "why": piece.why,
                "hash": piece.entry.hash.partition(":")[2],
            }
            for piece in pieces
        ],
        others=[(link_to(path), path) for path in handover.others],
    )
