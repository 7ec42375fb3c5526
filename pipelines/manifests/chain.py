"""The chain of a history: each generation's manifest by number, name and C4 (`ascmhl_chain.xml`).

Source: ASC Media Hash List, specification v1.0, and its schema ASCMHLDirectory.xsd.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from rushlight.pipelines.manifests.hash_kinds import KINDS
from rushlight.pipelines.manifests.hash_list import XmlTarget, parse_xml

__all__ = ["CHAIN", "CHAIN_SPACE", "HISTORY", "Link", "parse_chain"]

HISTORY = "ascmhl"  # the folder of a history
CHAIN = "ascmhl_chain.xml"
CHAIN_SPACE = "urn:ASC:MHL:DIRECTORY:v2.0"


@dataclass(frozen=True, kw_only=True)
class Link:
    """One generation of a chain: its number from 1, its manifest's file name and the C4 of that file's bytes."""

    generation: int
    name: str
    c4: str


def parse_chain(data: bytes, *, file: str = "") -> tuple[Link, ...]:
    """A chain from its bytes, in order. ManifestError, with the line, for whatever else they are, and for generations that do
    not run from 1 without a gap."""
    target = _ChainTarget()
    parse_xml(data, target, file=file)
    return tuple(target.links)


class _ChainTarget(XmlTarget):
    def __init__(self) -> None:
        super().__init__()
        self.links: list[Link] = []
        self._number = self._name = self._c4 = ""

    def root(self, tag: str, attributes: Mapping[str, str]) -> None:
        if tag != f"{{{CHAIN_SPACE}}}ascmhldirectory":
            name = tag.rpartition("}")[2][:60]
            raise self.wrong(
                f"is no chain of ASC MHL 2.0 manifests: its first element is <{name}> of another namespace or name"
            )

    def opened(self, stack: list[str], attributes: Mapping[str, str]) -> None:
        if stack[1:] == ["hashlist"]:
            self._number, self._name, self._c4 = attributes.get("sequencenr", ""), "", ""

    def closed(self, stack: list[str], text: str) -> None:
        match stack[1:]:
            case ["hashlist", "path"]:
                self._name = text
            case ["hashlist", "c4"]:
                self._c4 = text.strip()
            case ["hashlist"]:
                self.links.append(self._link())

    def _link(self) -> Link:
        place = len(self.links) + 1
        if not re.fullmatch(r"[0-9]{1,9}", self._number) or int(self._number) != place:
            found = f"has number {self._number[:20]!r}" if self._number else "has no number"
            raise self.wrong(f"its entry {place} {found}; generations run from 1 without a gap")
        if not self._name or re.search(r"[/\\]", self._name) or self._name in (".", ".."):
            raise self.wrong(f"its entry {place} names {self._name[:200]!r}, which is no file beside it")
        if not KINDS["c4"].form.fullmatch(self._c4):
            raise self.wrong(f"its entry {place} has no C4 of the manifest; that is {KINDS['c4'].says}")
        return Link(generation=place, name=self._name, c4=self._c4)
