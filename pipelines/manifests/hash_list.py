"""A hash list of ASC MHL 2.0, read strictly: which files there were, of what size and with what hashes.

Source: ASC Media Hash List, specification v1.0 (XML version 2.0), and its schema ASCMHL.xsd. Text comes from strangers: a
document type, entities and paths that lead out of the folder are refused, and so is any other version or namespace. What is
not asked here (who made it, where, metadata) may say what it likes.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from xml.etree.ElementTree import ParseError

from rushlight.pipelines.errors import ManifestError
from rushlight.pipelines.manifests.hash_kinds import fault_of

__all__ = [
    "SPACE",
    "FileEntry",
    "FolderEntry",
    "HashList",
    "Reference",
    "StatedHash",
    "XmlTarget",
    "parse_hash_list",
    "parse_xml",
]

SPACE = "urn:ASC:MHL:v2.0"
MOST_TAGS = 4_000_000  # a file has some eight
MOST_DEEP = 100  # elements inside one another
LONGEST = 4096  # characters of a path or a pattern
ACTIONS = ("original", "verified", "failed", "new", "")
_DRIVE = re.compile(r"[A-Za-z]:")


@dataclass(frozen=True, kw_only=True)
class StatedHash:
    """One hash of a file: its kind as the element is called, its text, and `original`, `verified`, `failed`, `new` or nothing."""

    kind: str
    value: str
    action: str = ""

    @property
    def fault(self) -> str:
        """Why it cannot be compared with, in words; empty where it can."""
        if self.action == "failed":
            return "its hash was found to differ when that manifest was made"
        return fault_of(self.kind, self.value)


@dataclass(frozen=True, kw_only=True)
class FileEntry:
    """A file: its path with `/`, relative to the manifest's folder, its size in bytes, and the path it had before."""

    path: str
    size: int | None = None
    hashes: tuple[StatedHash, ...] = ()
    previous: str = ""
    line: int = 0


@dataclass(frozen=True, kw_only=True)
class FolderEntry:
    """A folder, and the path it had before."""

    path: str
    previous: str = ""


@dataclass(frozen=True, kw_only=True)
class Reference:
    """The manifest of a history further down, by its path, and the C4 of its bytes."""

    path: str
    c4: str


@dataclass(frozen=True, kw_only=True)
class HashList:
    """One manifest. `ignore` is None where it states no patterns. `backslashes`: its paths are written with them, and
    were read as `/`."""

    files: tuple[FileEntry, ...] = ()
    folders: tuple[FolderEntry, ...] = ()
    references: tuple[Reference, ...] = ()
    ignore: tuple[str, ...] | None = None
    backslashes: bool = False
    made: str = ""  # the date that it states
    maker: str = ""  # tool and version


def parse_hash_list(data: bytes, *, file: str = "") -> HashList:
    """A manifest from its bytes. ManifestError, with the line, for whatever else they are."""
    target = _HashListTarget()
    parse_xml(data, target, file=file)
    return target.found()


# --- XML, by element


class XmlTarget:
    """Receives a document's elements. `line` is the one being read; `wrong` raises there."""

    def __init__(self) -> None:
        self.line_now: Callable[[], int] = lambda: 0
        self.stack: list[str] = []
        self._text: list[str] = []
        self._space = ""

    def wrong(self, text: str, line: int | None = None) -> ManifestError:
        """The error for what stands here."""
        return ManifestError(text, line=line or self.line_now())

    def start(self, tag: str, attributes: Mapping[str, str]) -> None:
        """An element opens; those inside are told by the names of all that are open."""
        space, _, name = tag.rpartition("}")
        if not self.stack:
            self.root(tag, attributes)
            self._space = space
        elif len(self.stack) >= MOST_DEEP:
            raise self.wrong(f"nests more than {MOST_DEEP} elements")
        self.stack.append(name if space == self._space else tag)  # of another namespace: another word
        self._text = []
        self.opened(self.stack, attributes)

    def data(self, text: str) -> None:
        """Text of the element that is open."""
        self._text.append(text)

    def end(self, tag: str) -> None:
        """An element closes."""
        self.closed(self.stack, "".join(self._text))
        self.stack.pop()
        self._text = []

    def root(self, tag: str, attributes: Mapping[str, str]) -> None:
        """The first element, with its namespace."""

    def opened(self, stack: list[str], attributes: Mapping[str, str]) -> None:
        """The last of the open elements has just opened."""

    def closed(self, stack: list[str], text: str) -> None:
        """The last of the open elements closes; its own text."""


def parse_xml(data: bytes, target: XmlTarget, *, file: str) -> None:
    """Give a document's elements to `target`. ManifestError, with the line, for what is no XML or could harm."""
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import XMLParser

    if data.count(b"<") > MOST_TAGS:
        raise ManifestError(f"is far too large: it has over {MOST_TAGS} tags", file=file or None)
    parser = XMLParser(target=target, forbid_dtd=True)
    target.line_now = lambda: int(parser.parser.CurrentLineNumber)
    try:
        parser.feed(data)
        parser.close()
    except ManifestError as error:
        raise error.at(file=file or None) from None
    except ParseError as error:
        words = "is empty" if not data.strip() else f"is not whole XML: {error.msg}"
        line = error.position[0] if data.strip() else None
        raise ManifestError(words, file=file or None, line=line) from None
    except DefusedXmlException:
        words = "has a document type or entities of its own, which no ASC MHL has: it is not read"
        raise ManifestError(words, file=file or None) from None
    except (ValueError, LookupError, OverflowError) as error:  # an encoding that is none
        raise ManifestError(
            f"is not XML that can be read: {' '.join(str(error).split())[:160]}", file=file or None
        ) from None


# --- the hash list


@dataclass
class _Draft:
    """A `hash` or `directoryhash` that is still open."""

    line: int
    path: str | None = None
    size: int | None = None
    previous: str = ""
    hashes: list[StatedHash] = field(default_factory=list)
    c4: str = ""


class _HashListTarget(XmlTarget):
    def __init__(self) -> None:
        super().__init__()
        self._files: dict[str, FileEntry] = {}
        self._folders: list[FolderEntry] = []
        self._references: list[Reference] = []
        self._ignore: list[str] | None = None
        self._draft = _Draft(line=0)
        self._attributes: Mapping[str, str] = {}
        self._backslashes = False
        self._made = self._maker = ""

    def found(self) -> HashList:
        return HashList(
            files=tuple(self._files.values()),
            folders=tuple(self._folders),
            references=tuple(self._references),
            ignore=None if self._ignore is None else tuple(self._ignore),
            backslashes=self._backslashes,
            made=self._made,
            maker=self._maker,
        )

    def root(self, tag: str, attributes: Mapping[str, str]) -> None:
        space, _, name = tag.removeprefix("{").rpartition("}")
        version = attributes.get("version", "")
        if name == "hashlist" and space == SPACE and version == "2.0":
            return
        if name != "hashlist":
            raise self.wrong(
                f"is no hash list: its first element is <{name[:60]}>, and that of ASC MHL 2.0 is <hashlist>"
            )
        ask = "Ask whoever made the copy for an ASC MHL 2.0 manifest (a folder `ascmhl` beside the clips)"
        if not space:
            raise self.wrong(f"is MHL {version[:20] or '1'}, an older form; only ASC MHL 2.0 is read. {ask}")
        raise self.wrong(
            f"is a hash list of version {version[:20]!r} in {space[:80]!r}; only ASC MHL 2.0 ({SPACE}) is read. {ask}"
        )

    def opened(self, stack: list[str], attributes: Mapping[str, str]) -> None:
        self._attributes = attributes
        if (stack[1:2] == ["hashes"] and len(stack) == 3) or stack[1:] == ["references", "hashlistreference"]:
            self._draft = _Draft(line=self.line_now())
        elif stack[1:] == ["processinfo", "ignore"] and self._ignore is None:
            self._ignore = []

    def closed(self, stack: list[str], text: str) -> None:
        match stack[1:]:
            case ["hashes", "hash" | "directoryhash", "path"]:
                self._draft.path, self._draft.size = self._path(text), self._size()
            case ["hashes", "hash" | "directoryhash", "previousPath"]:
                self._draft.previous = self._path(text)
            case ["hashes", "hash"]:
                self._close_file()
            case ["hashes", "directoryhash"]:
                self._folders.append(FolderEntry(path=self._stated(), previous=self._draft.previous))
            case ["hashes", "hash", "metadata"]:
                pass
            case ["hashes", "hash", kind]:
                self._draft.hashes.append(
                    StatedHash(kind=kind[:40], value=text.strip(), action=self._action())
                )
            case ["references", "hashlistreference", "path"]:
                self._draft.path = self._path(text)
            case ["references", "hashlistreference", "c4"]:
                self._draft.c4 = text.strip()
            case ["references", "hashlistreference"]:
                self._references.append(Reference(path=self._stated(), c4=self._draft.c4))
            case ["processinfo", "ignore", "pattern"] if self._ignore is not None:
                if len(text) > LONGEST:
                    raise self.wrong(f"has an ignore pattern of over {LONGEST} characters")
                self._ignore.append(text)
            case ["creatorinfo", "creationdate"]:
                self._made = text.strip()[:60]
            case ["creatorinfo", "tool"]:
                self._maker = f"{text.strip()[:60]} {self._attributes.get('version', '')[:40]}".strip()

    def _close_file(self) -> None:
        draft, path = self._draft, self._stated()
        entry = FileEntry(
            path=path, size=draft.size, hashes=tuple(draft.hashes), previous=draft.previous, line=draft.line
        )
        if (other := self._files.get(path)) and (other.hashes, other.size) != (entry.hashes, entry.size):
            raise self.wrong(f"states {path!r} twice, with other hashes in line {other.line}", draft.line)
        self._files[path] = entry

    def _stated(self) -> str:
        if self._draft.path is None:
            raise self.wrong("has an entry without a path", self._draft.line)
        return self._draft.path

    def _action(self) -> str:
        action = self._attributes.get("action", "")
        if action not in ACTIONS:
            words = ", ".join(a for a in ACTIONS if a)
            raise self.wrong(f"has a hash with action {action[:40]!r}; there are {words}")
        return action

    def _size(self) -> int | None:
        size = self._attributes.get("size", "").strip()
        if not size:
            return None
        if not re.fullmatch(r"[0-9]{1,18}", size):
            raise self.wrong(f"states a size of {size[:40]!r}; it must be a number of bytes")
        return int(size)

    def _path(self, text: str) -> str:
        """A path that stays inside, with `/`."""
        parts = text.replace("\\", "/").split("/")
        if not text.strip() or len(text) > LONGEST:
            raise self.wrong(
                "has a path that is empty"
                if len(text) <= LONGEST
                else f"has a path of over {LONGEST} characters"
            )
        if not parts[0] or _DRIVE.match(text):
            raise self.wrong(
                f"names {text[:200]!r}, which is absolute; a manifest's paths are relative to its folder"
            )
        if ".." in parts:
            raise self.wrong(f"names {text[:200]!r}, which leads out of the manifest's folder")
        self._backslashes |= "\\" in text
        return "/".join(part for part in parts if part not in ("", "."))
