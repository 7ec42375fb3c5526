"""A closed delivery, as `rushlight handover` leaves it: told by its `handover.json`, and never written into again."""

from __future__ import annotations

from pathlib import Path

from rushlight.batch.json_lines import plain_json
from rushlight.batch.records.handover import Handover
from rushlight.pipelines.errors import OptionError, OutsideError
from rushlight.pipelines.inside_folder import is_file, open_file

__all__ = ["CLOSED", "closed_delivery", "refuse_closed"]

CLOSED = "handover.json"
MOST = 256_000_000  # bytes; a delivery of 100,000 files has some 40 MB


def closed_delivery(folder: Path) -> Handover | None:
    """What a folder says of itself where it is a closed delivery; None for any other."""
    try:
        with open_file(folder, CLOSED) as stream:
            data = stream.read(MOST + 1)
        return Handover.read(plain_json(data)) if len(data) <= MOST else None
    except (OSError, OutsideError, OptionError, ValueError):
        return None


def refuse_closed(folder: Path, instead: str) -> None:
    """OptionError where a folder that is to be written into is a closed delivery, or may be one: of a newer version, or with its
    `handover.json` damaged or not to be read. `instead` says what would do."""
    if closed := closed_delivery(folder):
        raise OptionError(
            f"is the closed delivery {closed.folder}, which is as it was handed over and stays so; {instead}",
            file=str(folder),
        )
    if is_file(folder, CLOSED):
        raise OptionError(
            f"holds {CLOSED}, which this version cannot read, so it may be a closed delivery, which nothing is written into; {instead}."
            " If it is none, take that file away",
            file=str(folder),
        )
