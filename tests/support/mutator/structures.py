"""Faults that leave an input of its form: a table, JSON, XML, TOML or a database, with something of it changed."""

from __future__ import annotations

import csv
import io
import json
import re
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path
from random import Random
from typing import Any

from mutator.rough import header_flips, word, words_inserted, words_replaced

# --- tables


def cells_changed(data: bytes, rng: Random, outside: Path) -> bytes:
    """A cell, heading or column of a CSV changed, the table still one."""
    try:
        rows = list(csv.reader(io.StringIO(data.decode("utf-8", "surrogateescape"))))
    except csv.Error:
        return words_replaced(data, rng, outside)
    rows = [row for row in rows if row]
    if not rows:
        return words_inserted(data, rng, outside)
    row = rng.choice(rows[1:] or rows) if rng.random() < 0.85 else rows[0]
    column = rng.randrange(len(row))
    match rng.randrange(8):
        case 0:
            rows = [[c for k, c in enumerate(r) if k != column] for r in rows]
        case 1:
            row.append(row[column])
        case 2:
            row[column] = rng.choice(rng.choice(rows))
        case _:
            row[column] = word(rng, outside).decode("utf-8", "surrogateescape")
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n", escapechar="\\").writerows(rows)
    return out.getvalue().encode("utf-8", "surrogateescape")


# --- JSON

VALUES: list[Any] = [None, None, None, [], [], {}, {}, "", "", 0, 0, float("nan"), float("nan"), float("inf")]
VALUES += [
    True,
    False,
    -1,
    1,
    2**31,
    2**63,
    -(2**63),
    2**64,
    1e308,
    0.5,
    "x",
    [[]],
    [None],
    {"": None},
    [1, "a"],
    "NaN",
]
VALUES += [
    "\0",
    "\x1b[31m",
    "é\u202e",
    "\ud800",
    "A" * 100_000,
    list(range(3000)),
    "..",
    "../outside/x",
    "@/x",
]
VALUES += ["@/folder", "@/pipe", "@/endless", "a/../../x"]


def _spots(document: Any) -> Iterator[tuple[Any, Any]]:
    """Every container of a document with each of its keys."""
    items: Any = ()
    if isinstance(document, dict):
        items = document.items()
    elif isinstance(document, list):
        items = enumerate(document)
    for key, value in items:
        yield document, key
        yield from _spots(value)


def _value(rng: Random, outside: Path) -> Any:
    value = rng.choice(VALUES)
    return value.replace("@", str(outside)) if isinstance(value, str) else value


def changed(document: Any, rng: Random, outside: Path) -> Any:
    """A JSON document with one value, key or element of it changed."""
    spots = list(_spots(document))
    if not spots or rng.random() < 0.02:
        return _value(rng, outside)
    holder, key = rng.choice(spots)
    match rng.randrange(8):
        case 0 | 1:
            del holder[key]
        case 2 if isinstance(holder, dict):
            holder[rng.choice(("", "x", "schema", "path", f"{key} "))] = holder.pop(key)
        case 2:
            holder[key:key] = [holder[key]] * rng.choice((1, 2, 500))
        case 3:
            other, name = rng.choice(spots)
            if other is not holder and name in (range(len(other)) if isinstance(other, list) else other):
                holder[key] = json.loads(json.dumps(other[name]))
        case 4 if isinstance(holder[key], str):
            holder[key] = holder[key] + word(rng, outside).decode("utf-8", "replace")
        case 4 if isinstance(holder[key], int | float):
            holder[key] = rng.choice((-holder[key], holder[key] + 1, holder[key] * 10**9, str(holder[key])))
        case _:
            holder[key] = _value(rng, outside)
    return document


def json_changed(data: bytes, rng: Random, outside: Path) -> bytes:
    try:
        return json.dumps(changed(json.loads(data), rng, outside)).encode()
    except (ValueError, RecursionError):
        return words_replaced(data, rng, outside)


def json_line_changed(data: bytes, rng: Random, outside: Path) -> bytes:
    lines = data.splitlines()
    if not lines:
        return data
    at = rng.randrange(len(lines))
    lines[at] = json_changed(lines[at], rng, outside)
    return b"\n".join(lines) + b"\n"


# --- XML

BOMB = b'<!DOCTYPE a [<!ENTITY b "bbbbbbbbbb">' + b"".join(
    b'<!ENTITY b%d "&b%s;&b%s;&b%s;">' % (k, *(str(k - 1 or "").encode(),) * 3) for k in range(1, 30)
)
PROLOGUES = (
    b'<?xml version="1.0" encoding="UTF-99"?>',
    b'<?xml version="1.0" encoding="ISO-8859-1"?>\xe9',
    b'<?xml version="9.9"?>',
    b'<?xml version="1.0" encoding="UTF-16"?>',
    BOMB + b"]>",
    b'<!DOCTYPE a SYSTEM "file://@/x">',
    b'<!DOCTYPE a [<!ENTITY b SYSTEM "file://@/endless">]>',
)
ELEMENT = re.compile(rb"<(/?)([A-Za-z_:][\w:.-]*)([^<>]*)>")


def elements_changed(data: bytes, rng: Random, outside: Path) -> bytes:
    """An element or tag of XML dropped, renamed, doubled, or an entity or number put into it."""
    tags = list(ELEMENT.finditer(data))
    if not tags:
        return words_replaced(data, rng, outside)
    one = rng.choice(tags)
    end = data.find(b"</" + one[2], one.end())
    whole = data[one.start() : data.find(b">", end) + 1] if end > 0 and not one[1] else one[0]
    new = rng.choice(
        (
            *(b"", whole * 2, whole * 300, one[0], b"<!--" + whole + b"-->", b"<![CDATA[" + whole + b"]]>"),
            *(whole.replace(one[2], b"x:y"), whole.replace(one[2], rng.choice(tags)[2]), b"&b29;", b"&#0;"),
            b"<" + one[2] + b' id="' + word(rng, outside) + b'" id="2">',
        )
    )
    return data[: one.start()] + new + data[one.start() + len(whole) :]


def prologue_changed(data: bytes, rng: Random, outside: Path) -> bytes:
    body = data[data.find(b"?>") + 2 :] if data.startswith(b"<?xml") else data
    return rng.choice(PROLOGUES).replace(b"@", str(outside).encode()) + body


# --- TOML

SETTING = re.compile(rb"^([ \t]*[\w.\"-]+[ \t]*=[ \t]*)(.*)$", re.MULTILINE)
SETTINGS = b"""
    nan inf -inf -1 0 1e999 9223372036854775808 true [] {} "" '' 1979-05-27 07:32:00 1979-05-27T07:32:00Z [[1]] {a=1} "{"
    "{clip!r:>99999}" "\\u0000" "\\ud800" "16384x16384" "2x2" "-2x2" "../x" "@/x" "@/pipe" "@/endless" "**" 1_000
    0x7fffffff 1.5
""".split()
SETTINGS += [b'"' + b"A" * 50_000 + b'"', b"[" + b"1," * 5000 + b"]"]


def settings_changed(data: bytes, rng: Random, outside: Path) -> bytes:
    """A setting of TOML given another value or taken out, a table doubled, or a key of many parts added."""
    found = list(SETTING.finditer(data))
    if not found:
        return words_replaced(data, rng, outside)
    one = rng.choice(found)
    value = rng.choice((*SETTINGS, rng.choice(found)[2])).replace(b"@", str(outside).encode())
    match rng.randrange(8):
        case 0:
            return data[: one.start()] + data[one.end() :]
        case 1:
            return data[: one.start()] + one[0] + b"\n" + one[1] + value + data[one.end() :]
        case 2:
            key = b".".join([b"a"] * rng.choice((2, 1000, 100_000)))
            return data[: one.start()] + rng.choice((b"[%s]\n", b"%s = 1\n")) % key + data[one.start() :]
        case 3:
            return (
                data[: one.start()]
                + rng.choice((b"[look]\n", b"[[output]]\n", b"[output]\n"))
                + data[one.start() :]
            )
        case _:
            return data[: one.start()] + one[1] + value + data[one.end() :]


# --- SQLite


def rows_changed(data: bytes, rng: Random, outside: Path) -> bytes:
    """A cell of a SQLite file changed, its JSON too, or its tables."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "q.sqlite"
        path.write_bytes(data)
        try:
            with sqlite3.connect(path) as db:
                _change_rows(db, rng, outside)
            db.close()
        except (
            sqlite3.Error,
            IndexError,
            OverflowError,
            ValueError,
        ):  # names that are no text are a ValueError
            return header_flips(data, rng, outside)
        return path.read_bytes()


def _change_rows(db: sqlite3.Connection, rng: Random, outside: Path) -> None:
    table = rng.choice(("about", "job", "job", "job", "job", "segment"))
    columns = [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
    rows = [row[0] for row in db.execute(f"SELECT rowid FROM {table}")]
    column, row = rng.choice(columns), rng.choice(rows)
    what = rng.randrange(10)
    if what == 0:
        db.execute(
            rng.choice((f"DELETE FROM {table}", f"DROP TABLE {table}", f"ALTER TABLE {table} RENAME TO x"))
        )
    elif what == 1 and table == "job":
        db.execute(f"ALTER TABLE job RENAME COLUMN {column} TO x")
    elif what < 6 and table == "job":
        ((payload,),) = db.execute("SELECT payload FROM job WHERE rowid=?", (row,)).fetchall()
        text = json_changed(payload.encode(), rng, outside).decode("utf-8", "replace")
        db.execute("UPDATE job SET payload=? WHERE rowid=?", (text, row))
    else:
        value = rng.choice(
            (word(rng, outside), word(rng, outside).decode("utf-8", "replace"), 0, -1, 2**62, 0.5)
        )
        db.execute(f"UPDATE OR IGNORE {table} SET {column}=? WHERE rowid=?", (value, row))
