"""Histories of ASC MHL 2.0 for tests, written plainly: each call of `generation` adds one manifest and brings the chain up to it."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from xml.sax.saxutils import escape

import xxhash

SCENARIOS = Path(__file__).resolve().parents[3] / "shared" / "standards" / "mhl" / "scenarios"
ALPHABET = "123456789ABCDEFGHJKLMNPQRSTUVWXYZabcdefghijkmnopqrstuvwxyz"
HASH: dict[str, Callable[[bytes], str]] = {
    "md5": lambda data: hashlib.md5(data).hexdigest(),
    "sha1": lambda data: hashlib.sha1(data).hexdigest(),
    "xxh64": xxhash.xxh64_hexdigest,
    "xxh3": xxhash.xxh3_64_hexdigest,
    "xxh128": xxhash.xxh3_128_hexdigest,
    "c4": lambda data: c4_of(data),
}


def c4_of(data: bytes) -> str:
    """C4 ID, by long division."""
    number, text = int(hashlib.sha512(data).hexdigest(), 16), ""
    while number:
        text = ALPHABET[number % 58] + text
        number //= 58
    return "c4" + "1" * (88 - len(text)) + text


def entry(path: str, data: bytes, *kinds: str, action: str = "original", previous: str = "") -> str:
    """A file's element."""
    said = f' action="{action}"' if action else ""
    hashes = "".join(f"<{kind}{said}>{HASH[kind](data)}</{kind}>" for kind in kinds or ("xxh64",))
    before = f"<previousPath>{escape(previous)}</previousPath>" if previous else ""
    return f'<hash><path size="{len(data)}">{escape(path)}</path>{hashes}{before}</hash>\n'


def folder_entry(path: str, previous: str = "") -> str:
    """A folder's element; its hashes are not looked at."""
    before = f"<previousPath>{escape(previous)}</previousPath>" if previous else ""
    return f"<directoryhash><path>{escape(path)}</path><content/><structure/>{before}</directoryhash>\n"


def hash_list(
    entries: Iterable[str],
    *,
    ignore: Sequence[str] | None = (".DS_Store", "ascmhl", "ascmhl/"),
    references: Mapping[str, str] | None = None,
) -> bytes:
    """A manifest of those elements; `references` are paths and C4s."""
    patterns = "".join(f"<pattern>{escape(p)}</pattern>" for p in ignore or ())
    below = "".join(
        f"<hashlistreference><path>{escape(path)}</path><c4>{c4}</c4></hashlistreference>\n"
        for path, c4 in (references or {}).items()
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<hashlist version="2.0" xmlns="urn:ASC:MHL:v2.0">\n'
        "<creatorinfo><creationdate>2026-11-27T01:02:03+00:00</creationdate><hostname>cart</hostname>"
        '<tool version="1">tests</tool></creatorinfo>\n<processinfo><process>in-place</process>'
        + (f"<ignore>{patterns}</ignore>" if ignore else "")
        + f"</processinfo>\n<hashes>\n{''.join(entries)}</hashes>\n"
        + (f"<references>\n{below}</references>\n" if below else "")
        + "</hashlist>\n"
    ).encode()


def generation(root: Path, *entries: str, **more: object) -> Path:
    """Add a generation to the history of `root`; gives its manifest."""
    place = root / "ascmhl"
    place.mkdir(parents=True, exist_ok=True)
    number = len(list(place.glob("*.mhl"))) + 1
    path = place / f"{number:04}_{root.name}_2026-11-27_0102{number:02}Z.mhl"
    path.write_bytes(hash_list(entries, **more))  # type: ignore[arg-type]
    chain(place)
    return path


def chain(place: Path) -> None:
    """Write the chain of all manifests that lie in a folder."""
    rows = "".join(
        f'<hashlist sequencenr="{number}"><path>{escape(path.name)}</path><c4>{c4_of(path.read_bytes())}</c4></hashlist>\n'
        for number, path in enumerate(sorted(place.glob("*.mhl")), 1)
    )
    text = f'<ascmhldirectory xmlns="urn:ASC:MHL:DIRECTORY:v2.0">\n{rows}</ascmhldirectory>\n'
    (place / "ascmhl_chain.xml").write_text(text)


def card(root: Path, **files: bytes) -> Path:
    """Files below `root`: `__` in a name for `/`, the last `_` for the dot before its extension."""
    for name, data in files.items():
        path = root / ".".join(name.replace("__", "/").rsplit("_", 1))
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    return root


def sealed(root: Path, *kinds: str, **more: object) -> Path:
    """One generation of all that lies below `root`."""
    found = sorted(p for p in root.rglob("*") if p.is_file() and "ascmhl" not in p.relative_to(root).parts)
    return generation(
        root, *(entry(p.relative_to(root).as_posix(), p.read_bytes(), *kinds) for p in found), **more
    )
