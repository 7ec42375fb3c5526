"""The title of a shooting day, as pages, slates and mail have it."""

from __future__ import annotations

from collections.abc import Mapping

from pydantic import Field

from rushlight.batch.records.shape import Shape

__all__ = ["NO_TITLE", "DayTitle"]


class DayTitle(Shape):
    """What a shooting day is called; empty where nobody says."""

    production: str = Field(default="", description="Production's working title.")
    day: str = Field(default="", description="Shoot day.")
    unit: str = Field(default="", description="Unit, such as `main`.")

    def __bool__(self) -> bool:
        return bool(self.text)

    def overruled(self, cells: Mapping[str, str]) -> DayTitle:
        """The title of a clip whose row says something of it itself."""
        return DayTitle(
            production=cells.get("production") or self.production,
            day=cells.get("day") or self.day,
            unit=cells.get("unit") or self.unit,
        )

    @property
    def text(self) -> str:
        """`The Lamp Room, day 12, main unit`, as far as it is stated."""
        day = self.day if not self.day or "day" in self.day.casefold() else f"day {self.day}"
        unit = self.unit if not self.unit or "unit" in self.unit.casefold() else f"{self.unit} unit"
        return ", ".join(part for part in (self.production, day, unit) if part)


NO_TITLE = DayTitle()
