"""Files that an ACES Metadata File names: URIs (RFC 3986), relative to it, and never outside the given folders."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from urllib.parse import unquote, urlsplit

from rushlight.pipelines.errors import GradeError

__all__ = ["referenced_file"]


def referenced_file(uri: str, amf: Path, places: Iterable[Path]) -> Path:
    """The path that a `file` of the AMF means. It lies below the AMF's own folder or one of `places`, as written: links are the
    user's own. GradeError for anything else, and for what is no file."""
    parts = urlsplit(uri.strip())
    if (
        parts.scheme not in ("", "file")
        or parts.netloc not in ("", "localhost")
        or parts.query
        or parts.fragment
    ):
        raise GradeError(f"names {uri[:120]!r}, which is no file beside it", file=str(amf))
    name = unquote(parts.path)
    if not name or "\0" in name:
        raise GradeError(f"names {uri[:120]!r}, which is no name of a file", file=str(amf))
    path = Path(os.path.normpath(amf.absolute().parent / name))
    folders = [amf.absolute().parent, *(p.parent if p.is_file() else p for p in map(Path.absolute, places))]
    if not any(path.is_relative_to(os.path.normpath(folder)) for folder in folders):
        raise GradeError(
            f"names {uri[:120]!r}, which is neither below its own folder nor in one of --grades; put it beside the AMF",
            file=str(amf),
        )
    return path
