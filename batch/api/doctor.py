"""`rushlight doctor`: a machine's findings, and how fast it makes the shipped recipes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.doctor.finding import Finding
from rushlight.batch.doctor.machine import examine
from rushlight.batch.doctor.speed import Speed, measure
from rushlight.batch.exit_codes import DONE, PARTLY
from rushlight.batch.plan.request import default_workers
from rushlight.pipelines.recipe.read_recipe import shipped_recipes

__all__ = ["Examination", "Finding", "Speed", "doctor"]


@dataclass(frozen=True, kw_only=True)
class Examination:
    """All findings, and speeds where they were asked for."""

    findings: tuple[Finding, ...]
    speeds: tuple[Speed, ...]
    cores: int

    @property
    def code(self) -> int:
        """The command's exit code: 1 where anything stands in the way."""
        return PARTLY if any(each.weight == "in the way" for each in self.findings) else DONE

    def document(self) -> dict[str, object]:
        return {
            "cores": self.cores,
            "findings": [each.document() for each in self.findings],
            "speeds": [each.document() for each in self.speeds],
        }


def doctor(
    folders: Sequence[str | Path] = (),
    *,
    speed: bool = True,
    recipes: Sequence[str] = (),
    on_finding: Callable[[Finding | Speed], object] = lambda _: None,
    on_recipe: Callable[[str], object] = lambda _: None,
) -> Examination:
    """Examine this machine, and the disks of `folders`. Speeds are those of all shipped recipes, or of `recipes`."""
    findings, speeds, cores = list[Finding](), list[Speed](), default_workers()
    for finding in examine([Path(each) for each in folders]):
        findings.append(finding)
        on_finding(finding)
    if speed:
        for found in measure(list(recipes) or list(shipped_recipes()), cores=cores, tell=on_recipe):
            speeds.append(found)
            on_finding(found)
    return Examination(findings=tuple(findings), speeds=tuple(speeds), cores=cores)
