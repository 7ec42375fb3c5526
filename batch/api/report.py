"""`rushlight report`: the pages of an output folder, made from its log."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.api.requests import output_folders
from rushlight.batch.closed_delivery import refuse_closed
from rushlight.batch.report.pages import write_report

__all__ = ["ReportResult", "report"]


@dataclass(frozen=True, kw_only=True)
class ReportResult:
    """The folder of the pages; of a day with several recipes, of the first, and all pages in `pages`."""

    page: Path  # the one to open; absolute
    pages: tuple[Path, ...]

    @property
    def folder(self) -> Path:
        return self.page.parent

    def document(self) -> dict[str, object]:
        """The document that the command prints with `--json`."""
        found: dict[str, object] = {"page": str(self.page), "folder": str(self.folder)}
        return found | ({"pages": list(map(str, self.pages))} if len(self.pages) > 1 else {})


def report(dir: str | Path) -> ReportResult:
    """Make the pages of an output folder, or of those of a day, from the log. OptionError where it has none, or is a closed
    delivery."""
    folders = output_folders(dir)
    for folder in folders:
        refuse_closed(folder, "its page is index.html")
    pages = tuple(write_report(folder).resolve() for folder in folders)
    return ReportResult(page=pages[0], pages=pages)
