"""The pages of the reference, as they are installed: what `rushlight help` shows. The same files as docs/reference."""

from __future__ import annotations

import difflib
import re
from dataclasses import asdict, dataclass
from importlib.resources import files

from rushlight.pipelines.errors import OptionError

__all__ = ["Topic", "topic", "topics"]

_ROW = re.compile(r"\| \[(?P<title>[^\]]+)\]\((?P<name>[\w-]+)\.md\) \| (?P<words>.+?) \|")
_LINK = re.compile(r"\[([^\]]+)\]\([^)\s]+\)")


@dataclass(frozen=True, kw_only=True)
class Topic:
    """A page by its name: its title and, in a few words, what it holds."""

    name: str
    title: str
    words: str

    @property
    def text(self) -> str:
        """The page, Markdown; links to other files are their words alone."""
        text = _installed(f"{self.name}.md")
        return _LINK.sub(r"\1", re.sub(r"<!--.*?-->\n*", "", text, flags=re.DOTALL))

    def document(self) -> dict[str, str]:
        return asdict(self)


def topics() -> tuple[Topic, ...]:
    """All pages, as the reference's own table lists them."""
    return tuple(Topic(**match.groupdict()) for match in _ROW.finditer(_installed("README.md")))


def topic(name: str) -> Topic:
    """A page by its name, in any case, with spaces or hyphens. OptionError where there is none."""
    found = {each.name: each for each in topics()}
    wanted = "-".join(name.casefold().replace("_", " ").replace("-", " ").split())
    if wanted in found:
        return found[wanted]
    near = difflib.get_close_matches(wanted, found, 1)
    meant = f"did you mean {near[0]}? " if near else ""
    raise OptionError(f"there is no topic {name!r}; {meant}there are {', '.join(found)}")


def _installed(name: str) -> str:
    return (files("rushlight") / "reference" / name).read_text(encoding="utf-8")
