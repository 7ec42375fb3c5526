"""Messages of a validator: the key that is wrong in a document, and a sentence."""

from __future__ import annotations

import difflib
from collections.abc import Mapping

from pydantic import BaseModel
from pydantic_core import ErrorDetails

__all__ = ["key_and_words"]


def key_and_words(
    detail: ErrorDetails, data: object, tables: Mapping[str, type[BaseModel]]
) -> tuple[str, str]:
    """Key of the fault (`output[2].size`), and a sentence on what would do. `tables` has the model of each
    table; the document's own is under an empty name."""
    path, here = "", data
    for part in detail["loc"]:
        if part in ("movie", "stills") and not (isinstance(here, dict) and part in here):
            continue
        path += f"[{part}]" if isinstance(part, int) else f".{part}" if path else str(part)
        try:
            here = here[part]  # type: ignore[index]
        except (KeyError, IndexError, TypeError):
            here = None
    kind, given = detail["type"], detail.get("input")
    context = detail.get("ctx", {})
    if kind == "extra_forbidden":
        leaf = str(detail["loc"][-1])
        near = difflib.get_close_matches(leaf, _known_keys(detail["loc"], tables), 1)
        return path, f"there is no such key{f'; did you mean {near[0]!r}?' if near else ''}"
    if kind == "missing":
        return path, "is missing; it must be stated"
    if kind in ("literal_error",):
        return path, f"{given!r} will not do; takes {context.get('expected')}"
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        return f"{path}.make", 'takes "movie" or "stills"'
    if kind == "value_error":
        text = str(context.get("error", detail["msg"]))
        return path or "output", text if isinstance(given, dict | list) else f"{given!r}: {text}"
    return path, f"{given!r} will not do: {detail['msg'][0].lower()}{detail['msg'][1:]}"


def _known_keys(loc: tuple[int | str, ...], tables: Mapping[str, type[BaseModel]]) -> list[str]:
    parents = [part for part in loc[:-1] if isinstance(part, str)]
    table = "looks" if parents[:1] == ["looks"] else parents[-1] if parents else ""  # a look has any name
    model = tables.get(table, tables[""])
    return sorted(model.model_fields)
