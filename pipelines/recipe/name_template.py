"""Names by template: `{scene}_{take}_{clip}` filled in with a clip's values, as a file's or a folder's name that every system takes.

A field is `{name}`, `{name:form}`, and either with `|text`, which stands in where the clip has no such value. Forms: `upper`,
`lower`, a number of digits (`{take:3}` makes 7 into 007 and 7B into 007B), and a date's parts (`{day:%y%m%d}`). An empty field gives
nothing, and a separator that would then stand double or at an end goes with it.
"""

from __future__ import annotations

import datetime
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass

from rushlight.pipelines.portable_name import FORBIDDEN, MOST_BYTES, is_device, safe_name

__all__ = ["Filled", "Piece", "filled", "filled_path", "name_fields", "parse_file", "parse_path"]

LONGEST = 200  # characters of a template
_FIELD = re.compile(r"\{([^{}]*)\}")
_INSIDE = re.compile(r"\s*(?P<field>[^:|]+?)\s*(?::\s*(?P<form>[^|]*?)\s*)?(?:\|(?P<otherwise>.*))?")
_DIGITS = re.compile(r"0?([1-9])")
_DATE = re.compile(r"(?:%[Yymdj]|[-_.])+")
_DAY = re.compile(r"\d{4}-\d\d-\d\d|\d{8}")
_SEPARATORS = "_-. "
_OURS = "ascmhl"  # the folder of a hash manifest's history


@dataclass(frozen=True, kw_only=True)
class Piece:
    """A piece of a template: fixed `text`, or a `field` with its form and what stands in where it is empty."""

    text: str = ""
    field: str = ""
    form: str = ""
    otherwise: str = ""


@dataclass(frozen=True, kw_only=True)
class Filled:
    """A name made of a template; empty where every field of it is. `doubts` are sentences on what did not go as written."""

    name: str
    doubts: tuple[str, ...] = ()


# --- reading


def parse_file(text: str) -> tuple[Piece, ...]:
    """The pieces of a file's name. ValueError for what is no name of one file on some system."""
    if "/" in text or "\\" in text:
        raise ValueError("names one file; folders go into `path`")
    return _parsed(text)


def parse_path(text: str) -> tuple[tuple[Piece, ...], ...]:
    """The pieces of each folder of a path, from above. ValueError for what leads elsewhere, or is no name on some system."""
    if text.startswith("/") or "\\" in text or re.match(r"[A-Za-z]:", text):
        raise ValueError('starts in the output\'s own folder, with / between its parts: "{day}/{camera}"')
    if len(text) > LONGEST:
        raise ValueError(f"is longer than {LONGEST} characters")
    return tuple(_parsed(part) for part in text.split("/"))


def name_fields(text: str) -> tuple[str, ...]:
    """The fields of a template, in lower case, in order of first use."""
    pieces = (piece for part in parse_path(text) for piece in part)
    return tuple(dict.fromkeys(piece.field for piece in pieces if piece.field))


def _parsed(text: str) -> tuple[Piece, ...]:
    if len(text) > LONGEST:
        raise ValueError(f"is longer than {LONGEST} characters")
    pieces = []
    for number, piece in enumerate(_FIELD.split(text)):
        if number % 2:
            pieces.append(_field(piece))
        elif piece:
            _check_text(piece)
            pieces.append(Piece(text=piece))
    _check_ends(text, pieces)
    return tuple(pieces)


def _field(inside: str) -> Piece:
    match = _INSIDE.fullmatch(inside)
    if not match:
        raise ValueError(
            f"{{{inside}}} names no field; one is written {{scene}}, {{take:3}} or {{scene|none}}"
        )
    form, otherwise = (match["form"] or "").strip(), match["otherwise"] or ""
    date = "%" in form and _DATE.fullmatch(form)
    if match["form"] is not None and not (form in ("upper", "lower") or _DIGITS.fullmatch(form) or date):
        raise ValueError(
            f"{{{inside}}}: a form is upper, lower, a number of digits from 1 to 9, or a date of %Y %y %m %d %j with - _ ."
        )
    _check_text(otherwise)
    return Piece(field=match["field"].lower(), form=form, otherwise=otherwise)


def _check_text(text: str) -> None:
    for brace in "{}":
        if brace in text:
            raise ValueError(f"has a {brace} that belongs to no field")
    for char in text:
        if char in FORBIDDEN or not char.isprintable():
            raise ValueError(
                f"has {char!r}, which Windows, shares or cards do not take in a name; - and _ will do"
            )


def _check_ends(text: str, pieces: list[Piece]) -> None:
    fixed = "".join(piece.text for piece in pieces)
    if not pieces:
        raise ValueError("has a folder without a name: two / beside each other, or one at the end")
    if text.strip(". ") == "":
        raise ValueError(f"{text!r} is no name, and nothing leads out of the output's folder")
    if text[0] in ". ":
        raise ValueError(f"{text!r} begins with a dot or a space: some systems hide it, or drop the space")
    if text[-1] in ". ":
        raise ValueError(f"{text!r} ends with a dot or a space, which Windows drops")
    if fixed == text and (is_device(text) or text.casefold() == _OURS):
        raise ValueError(f"{text!r} is a reserved name; another one will do")


# --- filling in


def filled_path(parts: tuple[tuple[Piece, ...], ...], values: Mapping[str, str]) -> Filled:
    """A path of a clip's values; a folder of which every field is empty is left out."""
    found = [filled(pieces, values) for pieces in parts]
    doubts = tuple(doubt for each in found for doubt in each.doubts)
    return Filled(name="/".join(each.name for each in found if each.name), doubts=doubts)


def filled(pieces: tuple[Piece, ...], values: Mapping[str, str]) -> Filled:
    """One name of a clip's values (by field, in lower case): what no system takes in a name is `_` in its place."""
    made, doubts, dropping = "", [], False
    for piece in pieces:
        if piece.text:
            double = dropping and (not made or made[-1] in _SEPARATORS)
            made += piece.text.lstrip(_SEPARATORS) if double else piece.text
            dropping = False
            continue
        text, doubt = _formed(piece, values.get(piece.field, "").strip())
        doubts += [doubt] if doubt else []
        made += text
        dropping = dropping or not text
    if dropping:
        made = made.rstrip(_SEPARATORS)
    if not made.strip(". "):
        return Filled(name="_" if made.strip() else "", doubts=tuple(doubts))
    if len(unicodedata.normalize("NFC", made).encode("utf-8", "replace")) > MOST_BYTES:
        doubts.append(f"a name of over {MOST_BYTES} bytes is cut there: {made[:24]}…")
    name = safe_name(made)
    return Filled(name=f"_{name}" if name.casefold() == _OURS else name, doubts=tuple(doubts))


def _formed(piece: Piece, value: str) -> tuple[str, str]:
    """A field's text in its form, and a doubt."""
    if not value:
        return piece.otherwise, ""
    if piece.form == "upper":
        return value.upper(), ""
    if piece.form == "lower":
        return value.lower(), ""
    if digits := _DIGITS.fullmatch(piece.form):
        number = re.match(r"[0-9]*", value)
        assert number
        padded = (number[0].lstrip("0") or "0").zfill(int(digits[1])) if number[0] else ""
        return padded + value[number.end() :], ""
    if piece.form:
        try:
            if _DAY.fullmatch(value):
                return datetime.date.fromisoformat(value).strftime(piece.form), ""
        except ValueError:
            pass
        return (
            value,
            f"{{{piece.field}:{piece.form}}} needs a date such as 2026-05-04, not {value!r}, which stands as it is",
        )
    return value, ""
