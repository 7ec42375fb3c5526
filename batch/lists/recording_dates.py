"""The day a clip was recorded: what its row says, and what its header says."""

from __future__ import annotations

import datetime
import re

from rushlight.batch.lists.clip_list import Row
from rushlight.pipelines.originals.facts import Facts

__all__ = ["header_date", "row_date"]


def row_date(row: Row) -> datetime.date | None:
    """The date in column `date`, else `day`; None where neither holds one, such as "day 3"."""
    for text in (row["date"], row["day"]):
        try:
            return datetime.date.fromisoformat(text)
        except ValueError:
            continue
    return None


def header_date(facts: Facts, utc_offset: int | None) -> datetime.date | None:
    """The date that the container states as time of creation: in UTC, moved by `utc_offset` seconds where it is known.

    Good for telling twins apart and no more: a copy or transcode may state the day it was made.
    """
    found = {key.lower(): value for key, value in facts.metadata.items()}
    text = found.get("creation_time") or found.get("datetime") or ""
    text = re.sub(r"^(\d{4}):(\d\d):(\d\d)", r"\1-\2-\3", text.strip())  # as TIFF and DPX write it
    try:
        moment = datetime.datetime.fromisoformat(text)
        if moment.tzinfo is not None and utc_offset is not None:
            moment = moment.astimezone(datetime.timezone(datetime.timedelta(seconds=utc_offset)))
    except (ValueError, OverflowError):  # a clock that was never set states year 1
        return None
    return moment.date()
