"""Hash manifests of what was delivered, in the open form ASC MHL 2.0, so that anyone can check a copy.

Source: ASC Media Hash List, specification v1.0 (XML version 2.0), and its schemas. A history lies in `ascmhl/` of the
folder it is about: numbered manifests, and a chain that has the C4 of each. Hashes are the job records' own
(xxh3 of 128 bits, `xxh128` there), so nothing is read twice. A manifest tells a good copy from a bad one; it is no
copy itself.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import TypeVar
from xml.sax.saxutils import escape, quoteattr

import xxhash

from rushlight.batch.records.job_record import JobRecord
from rushlight.pipelines.errors import DeliveryError, ManifestError, from_os
from rushlight.pipelines.inside_folder import make_folder, move, read_bytes, write
from rushlight.pipelines.manifests.chain import CHAIN, CHAIN_SPACE, HISTORY, Link, parse_chain
from rushlight.pipelines.manifests.hash_kinds import c4
from rushlight.pipelines.manifests.hash_list import SPACE, parse_hash_list
from rushlight.pipelines.manifests.ignore_patterns import DEFAULT
from rushlight.pipelines.text_files import MAX_BYTES

__all__ = ["ManifestFile", "delivered_files", "write_manifest"]

_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class ManifestFile:
    """One delivered file: `path` relative with `/`, `xxh128` as 32 hex digits."""

    path: str
    size: int
    mtime_ns: int
    xxh128: str


def delivered_files(records: Iterable[JobRecord], folder: str = "") -> list[ManifestFile]:
    """The files of job records that lie in `folder` (relative to the output folder), their paths relative to it."""
    found = {}
    for record in records:
        for entry in record.outputs:
            path = PurePosixPath(entry.path)
            if folder and not path.is_relative_to(folder):
                continue
            inside = str(path.relative_to(folder)) if folder else str(path)
            digest = entry.hash.removeprefix("xxh3_128:")
            found[inside] = ManifestFile(
                path=inside, size=entry.bytes, mtime_ns=entry.mtime_ns, xxh128=digest
            )
    return [found[path] for path in sorted(found)]


def write_manifest(
    root: Path,
    files: Sequence[ManifestFile],
    *,
    when: datetime,
    host: str,
    version: str,
    retired: str,
    ignore: Sequence[str] = (),
    name: str = "",
) -> Path | None:
    """Bring the history of `root` up to `files`; gives the manifest written, or None where nothing is new.

    New files go into a further generation. Where a file of the history was remade or is no longer delivered, the
    history no longer speaks of this folder: it is moved whole into `retired`, a folder in `root`, and a new one begins with 0001.
    `when` is the moment of writing (aware). `name`: the folder's, where it is to have another than now. DeliveryError for a history that was tampered with or does not read.
    """
    number, known = _read_history(root)
    now = {file.path: file.xxh128 for file in files}
    try:
        if any(now.get(path) != digest for path, digest in known.items()):
            old = make_folder(root, retired) / f"{root.name} {_stamp(when)}"
            move(root, HISTORY, f"{retired}/{_free(old).name}")
            number, known = 0, {}
        new = [file for file in files if file.path not in known]
        if not new:
            return None
        file = f"{number + 1:04}_{name or root.name}_{_stamp(when)}.mhl"
        text = "".join(_manifest(new, when, host, version, (*DEFAULT, *ignore), whole=not known))
        write(root, f"{HISTORY}/{file}", text.encode(), sync=True)
        chain = _chain(root, number + 1, file, text.encode())
        write(root, f"{HISTORY}/{CHAIN}", chain.encode(), sync=True)
    except OSError as error:
        raise from_os(error, root / HISTORY) from None
    return root / HISTORY / file


def _stamp(when: datetime) -> str:
    return when.astimezone(UTC).strftime("%Y-%m-%d_%H%M%SZ")


def _free(path: Path) -> Path:
    number = 2
    while path.exists():
        path = path.with_name(f"{path.name.partition(' again')[0]} again {number}")
        number += 1
    return path


# --- reading


def _bytes(root: Path, name: str) -> bytes:
    """The bytes of a file of a history. DeliveryError where it does not read."""
    path = root / HISTORY / name
    try:
        data = read_bytes(root, f"{HISTORY}/{name}")
    except OSError as error:
        raise DeliveryError(f"does not read: {error.strerror or error}", file=str(path)) from None
    if len(data) > MAX_BYTES:
        text = f"does not read: it is longer than {MAX_BYTES // 1_000_000} MB"
        raise DeliveryError(text, file=str(path))
    return data


def _parsed(parse: Callable[[bytes], T], data: bytes, path: Path) -> T:
    """What the strict parsers of manifests make of it. DeliveryError where they refuse it."""
    try:
        return parse(data)
    except ManifestError as error:
        raise DeliveryError(error.text, file=str(path), line=error.line) from None


def _chained(root: Path) -> tuple[Link, ...]:
    """The manifests in the chain."""
    path = root / HISTORY / CHAIN
    return _parsed(parse_chain, _bytes(root, CHAIN), path) if os.path.lexists(path) else ()


def _read_history(root: Path) -> tuple[int, dict[str, str]]:
    """The last generation's number, and every file's hash by path."""
    links, known = _chained(root), {}
    for link in links:
        data, path = _bytes(root, link.name), root / HISTORY / link.name
        if c4(data) != link.c4:
            raise DeliveryError("is not the manifest that its chain names: it was changed", file=str(path))
        for file in _parsed(parse_hash_list, data, path).files:
            known[file.path] = next((stated.value for stated in file.hashes if stated.kind == "xxh128"), "")
    return len(links), known


# --- writing


def _chain(root: Path, number: int, name: str, data: bytes) -> str:
    rows = [*_chained(root), Link(generation=number, name=name, c4=c4(data))]
    body = "".join(
        f'  <hashlist sequencenr="{link.generation}">\n    <path>{escape(link.name)}</path>\n'
        f"    <c4>{link.c4}</c4>\n  </hashlist>\n"
        for link in rows
    )
    return f'{_HEAD}<ascmhldirectory xmlns="{CHAIN_SPACE}">\n{body}</ascmhldirectory>\n'


def _manifest(
    files: Sequence[ManifestFile],
    when: datetime,
    host: str,
    version: str,
    ignore: Sequence[str],
    *,
    whole: bool,
) -> Iterator[str]:
    """The text of a manifest; folders have hashes of their own where it is of the `whole` folder."""
    folders = _folders(files) if whole else {}
    yield f'{_HEAD}<hashlist version="2.0" xmlns="{SPACE}">\n'
    yield "  <creatorinfo>\n"
    yield f"    <creationdate>{when.isoformat(timespec='seconds')}</creationdate>\n"
    yield f"    <hostname>{escape(host)}</hostname>\n"
    yield f"    <tool version={quoteattr(version)}>rushlight</tool>\n"
    yield "  </creatorinfo>\n  <processinfo>\n    <process>in-place</process>\n"
    if whole:
        yield f"    <roothash>\n{_both(folders['.'])}    </roothash>\n"
    yield "    <ignore>\n" + "".join(f"      <pattern>{escape(p)}</pattern>\n" for p in ignore)
    yield "    </ignore>\n  </processinfo>\n  <hashes>\n"
    for file in files:
        changed = datetime.fromtimestamp(file.mtime_ns // 10**9, UTC).isoformat()
        yield "    <hash>\n"
        yield f'      <path size="{file.size}" lastmodificationdate="{changed}">{escape(file.path)}</path>\n'
        yield f'      <xxh128 action="original">{file.xxh128}</xxh128>\n    </hash>\n'
    for path, hashes in sorted(folders.items()):
        if path != ".":
            yield f"    <directoryhash>\n      <path>{escape(path)}</path>\n{_both(hashes)}    </directoryhash>\n"
    yield "  </hashes>\n</hashlist>\n"


def _both(hashes: tuple[str, str]) -> str:
    return "".join(
        f"      <{kind}>\n        <xxh128>{digest}</xxh128>\n      </{kind}>\n"
        for kind, digest in zip(("content", "structure"), hashes, strict=True)
    )


def _folders(files: Sequence[ManifestFile]) -> dict[str, tuple[str, str]]:
    """Content and structure hash of every folder, "." the root: of what its children are, and of what they are named."""
    children: dict[PurePosixPath, dict[str, tuple[str, str]]] = {PurePosixPath("."): {}}
    for file in files:
        path = PurePosixPath(file.path)
        for folder in path.parents:
            children.setdefault(folder, {})
        children[path.parent][path.name] = (file.xxh128, file.xxh128)
    found = {}
    for folder in sorted(children, key=lambda f: -len(f.parts)):
        inside = children[folder]
        content = _hash_of_hashes(content for content, _ in inside.values())
        structure = _hash_of_hashes(
            _xxh128(name.encode() + bytes.fromhex(structure)) for name, (_, structure) in inside.items()
        )
        found[str(folder)] = (content, structure)
        if folder != PurePosixPath("."):
            children[folder.parent][folder.name] = (content, structure)
    return found


def _hash_of_hashes(digests: Iterable[str]) -> str:
    return _xxh128(b"".join(bytes.fromhex(d) for d in sorted(digests)))


def _xxh128(data: bytes) -> str:
    return xxhash.xxh3_128_hexdigest(data)
