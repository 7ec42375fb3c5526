"""Each module of the product has its mirror: `batch/run/feeding.py` has `tests/batch/run/test_feeding.py`."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

# Modules that have none yet, by room: tests of their neighbours reach them. A new module is not put here, and one that
# has its mirror leaves.
OWED = {
    "pipelines/burnin": "canvas guides text_fields text_masks watermark",
    "pipelines/colour": "chart icc_profile",
    "pipelines/grading": "kernel simd",
    "pipelines/job": "exact_signal spec",
    "pipelines/originals": "probe",
    "pipelines/outputs": "readback sound_tracks",
    "pipelines/recipe": "clip_defaults model validation_messages",
    "pipelines/render": "picture",
    "batch/api": "grades look plan plan_document queue render report",
    "batch/cli": "catalogue_commands main night_options plan_command",
    "batch": "disks job_log",
    "batch/farm": "dask_cluster no_status_pages",
    "batch/plan": "model plan_row request",
    "batch/queue": "migrations store",
    "batch/records": "events files finished look original queue_row shape side_files",
    "batch/run": "ended_jobs events kept_inputs report_and_manifest request_accounts",
}


def lacking() -> set[str]:
    """Modules without a mirror, by path."""
    found = set()
    for top in ("pipelines", "batch"):
        for path in (ROOT / top).rglob("*.py"):
            place = path.relative_to(ROOT)
            if path.name != "__init__.py" and not (ROOT / mirror(place)).is_file():
                found.add(place.as_posix())
    return found


def mirror(module: Path) -> Path:
    """Where the test of a module lies."""
    return Path("tests") / module.parent / f"test_{module.name}"


def owed() -> set[str]:
    return {f"{room}/{name}.py" for room, names in OWED.items() for name in names.split()}


def test_every_module_has_its_mirror() -> None:
    missing = sorted(lacking() - owed())
    assert not missing, f"without a test of their own: {missing}"


def test_one_that_has_its_mirror_is_owed_none() -> None:
    assert sorted(owed() - lacking()) == []


def test_a_mirror_asserts_something() -> None:
    for top in ("pipelines", "batch"):
        for path in (ROOT / "tests" / top).rglob("test_*.py"):
            text = path.read_text()
            assert "def test_" in text and ("assert " in text or "raises(" in text), path


@pytest.mark.parametrize("module", ["batch/run/feeding.py", "pipelines/recipe/recipe_faults.py"])
def test_a_mirror_lies_in_the_same_room(module: str) -> None:
    assert (ROOT / mirror(Path(module))).is_file()
    assert module not in lacking()
