"""What a report needs and no job's record holds: the last count of originals, and the last measuring by `verify`.

Small JSON files beside the log of an output folder.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rushlight.batch.reconcile import Media

__all__ = ["keep_media", "keep_verdicts", "kept_media", "kept_verdicts"]

MEDIA, VERDICTS = "rushlight-media-1", "rushlight-verify-1"


def keep_media(media: Media | None, out: Path) -> None:
    """Keep the count of `media`; none where no folder was given."""
    if media is None:
        (out / "log" / "media.json").unlink(missing_ok=True)
        return
    document = {
        "schema": MEDIA,
        "found": media.found,
        "listed": media.listed,
        "not_listed": [str(p) for p in media.not_listed],
        "unreadable": [[str(p), why] for p, why in media.unreadable],
        "ignored": media.ignored,
        "absent": [[name, str(p)] for name, p in media.absent],
    }
    _write(out / "log" / "media.json", document)


def kept_media(out: Path) -> dict[str, Any] | None:
    """The count that was kept; None where there is none that reads."""
    return _read(out / "log" / "media.json", MEDIA)


def keep_verdicts(document: Mapping[str, Any], out: Path) -> None:
    """Keep what `verify` found. Raises OSError where the folder cannot be written to."""
    _write(out / "log" / "verify.json", document)


def kept_verdicts(out: Path) -> dict[str, Any] | None:
    """What `verify` found the last time; None where it was never run, or what it kept does not read."""
    return _read(out / "log" / "verify.json", VERDICTS)


def _write(path: Path, document: Mapping[str, Any]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    temporary.write_text(json.dumps(document, indent=1), "utf-8")
    os.replace(temporary, path)


def _read(path: Path, schema: str) -> dict[str, Any] | None:
    try:
        document = json.loads(path.read_text("utf-8", "replace"))
    except (OSError, ValueError):
        return None
    return document if isinstance(document, dict) and document.get("schema") == schema else None
