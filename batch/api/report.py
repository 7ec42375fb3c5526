"""`rushlight report`: the pages of an output folder, made from its log."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.report.pages import write_report

__all__ = ["ReportResult", "report"]


@dataclass(frozen=True, kw_only=True)
class ReportResult:
    """The folder of the pages."""

    page: Path  # the one to open; absolute

    @property
    def folder(self) -> Path:
        return self.page.parent

    def document(self) -> dict[str, str]:
        """The document that the command prints with `--json`."""
        return {"page": str(self.page), "folder": str(self.folder)}


def report(dir: str | Path) -> ReportResult:
    """Make the pages of an output folder from its log. OptionError where it has none."""
    return ReportResult(page=write_report(Path(dir)).resolve())
