"""The deliveries that were made of an output folder: lines of `log/handovers.jsonl`, and what those of one name have handed over."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Sequence
from pathlib import Path

from rushlight.batch.job_log import add_line
from rushlight.batch.json_lines import parse_lines
from rushlight.batch.records.handover import Handover, HandoverFile
from rushlight.pipelines.errors import from_os
from rushlight.pipelines.inside_folder import append, read_bytes
from rushlight.pipelines.portable_name import same_name
from rushlight.pipelines.visible_text import json_text

__all__ = ["HANDOVERS", "add_handover", "handed_over", "of_name", "origin_of", "read_handovers"]

HANDOVERS = "log/handovers.jsonl"


def origin_of(folder: Path) -> str:
    """Digest that tells an output folder, by its place."""
    return hashlib.sha256(os.fsencode(folder.resolve())).hexdigest()[:32]


def read_handovers(out: Path) -> tuple[list[Handover], list[str]]:
    """The deliveries of an output folder in order, and a sentence for each line that does not read. A last line that is torn is
    no loss: its delivery is found by its folder."""
    path = out / HANDOVERS
    try:
        data = read_bytes(out, HANDOVERS)
    except FileNotFoundError:
        return [], []
    except OSError as error:
        raise from_os(error, path, reading=True) from None
    found, refused = parse_lines(data, Handover.read, file=str(path))
    said = [
        f"{each.error}; what it handed over counts as never handed over" for each in refused if not each.mild
    ]
    return [handover for _, handover in found], said


def add_handover(out: Path, handover: Handover) -> None:
    """Add a delivery, on the disk before this returns. ResourceError or DeliveryError where that fails."""
    try:
        with append(out, HANDOVERS) as stream:
            add_line(stream, json_text(handover.plain(), separators=(",", ":")).encode())
    except OSError as error:
        raise from_os(error, out / HANDOVERS) from None


def of_name(handovers: Iterable[Handover], name: str) -> list[Handover]:
    """Those of one name, whatever its upper and lower case."""
    return [each for each in handovers if same_name(each.name) == same_name(name)]


def handed_over(handovers: Sequence[Handover]) -> dict[str, HandoverFile]:
    """What the receiver of deliveries has that holds, by path: of each the latest file, without those that hold no more."""
    found: dict[str, HandoverFile] = {}
    for handover in handovers:
        for gone in handover.gone:
            found.pop(gone.path, None)
        found |= {file.path: file for file in handover.files}
    return found
