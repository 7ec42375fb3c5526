"""The rows of a list that are taken: those that `--only` chooses, and a row for each file where files of a clip are taken one by one."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from rushlight.batch.lists.clip_list import ClipList, Row, cell_is
from rushlight.batch.lists.find_media import MediaIndex, files_of, resolve_clip
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.originals.spanned_clips import is_span

__all__ = ["one_by_one", "selected"]


def selected(clip_list: ClipList, only: Iterable[str]) -> list[Row]:
    """The rows that every COLUMN=VALUE takes. OptionError for a column the list does not have."""
    rows = list(clip_list.rows)
    for choice in only:
        column, equals, value = choice.partition("=")
        column = column.strip().lower()
        has = ", ".join(clip_list.columns)
        if not equals:
            raise OptionError(f"--only {choice!r}: takes COLUMN=VALUE; the list has {has}")
        if column not in clip_list.columns:
            raise OptionError(f"--only {choice!r}: the list has no column {column!r}; it has {has}")
        rows = [r for r in rows if cell_is(r[column], value)]
    return rows


def one_by_one(rows: Iterable[Row], base: Path, media: MediaIndex) -> Iterable[Row]:
    """The rows, of a clip in several files a row for each file."""
    for row in rows:
        files: tuple[Path, ...] = ()
        if "#" in row.clip and not row.problem:
            with suppress(Exception):  # said once, where the row itself is resolved
                path = resolve_clip(row.clip, base, media)
                files = files_of(path, row.clip, base, media) if is_span(path) else ()
        if not files:
            yield row
        for file in files:
            folder = row.clip[: max(row.clip.rfind("/"), row.clip.rfind("\\")) + 1]
            yield replace(row, clip=folder + file.name)
