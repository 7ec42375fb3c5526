"""What is packaged is what there is; what is written here is how the project is laid out."""

import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())
API = "batch/api/rushlight"  # what `import rushlight` gives


def test_packages_are_the_folders() -> None:
    mapping = PROJECT["tool"]["setuptools"]["package-dir"]
    folders = {
        p.parent.relative_to(ROOT).as_posix()
        for top in ("batch", "pipelines", "configs")
        for p in (ROOT / top).rglob("__init__.py")
    }
    assert mapping == {
        "rushlight": API,
        "rushlight.reference": "docs/reference",  # pages, no code
        **{f"rushlight.{top}": top for top in ("batch", "pipelines", "configs")},  # folders in them follow
    }
    names = {"rushlight" if f == API else f"rushlight.{f.replace('/', '.')}" for f in folders}
    assert names | {"rushlight.reference"} == set(PROJECT["tool"]["setuptools"]["packages"])


def test_the_top_is_as_agreed() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True)
    if listed.returncode:
        return  # an archive without git: nothing to compare
    tops = {line.split("/")[0] for line in listed.stdout.splitlines()}
    wanted = {
        "README.md",
        "DEVELOPERS.md",
        "CHANGELOG.md",
        "CONTRIBUTING.md",
        "docs",
        "LICENSE",
        "pyproject.toml",
        "batch",
        "pipelines",
        "configs",
        "tests",
        "sample_frames",
    }
    assert {t for t in tops if not t.startswith(".")} == wanted


def test_one_idea_a_file() -> None:
    for folder in ("pipelines", "batch"):
        for path in (ROOT / folder).rglob("*.py"):
            assert len(path.read_text().splitlines()) <= 460, path
            assert path.read_text().startswith('"""'), path


def test_the_samples_are_small() -> None:
    assert sum(p.stat().st_size for p in (ROOT / "sample_frames").rglob("*") if p.is_file()) <= 12_000_000


def test_help_is_quick_to_load() -> None:
    """`--help` reads no library of pictures."""
    code = "import sys; from rushlight.batch.cli import main; print(sorted(m for m in ('av','numba','colour','dask','OpenImageIO','scipy','numpy') if m in sys.modules))"
    assert (
        subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        ).stdout.strip()
        == "[]"
    )


def test_the_readme_states_the_two_commands() -> None:
    text = (ROOT / "README.md").read_text()
    assert (
        "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/rushlight render sample_frames/day.csv --recipe overnight --out out"
        in text
    )
    assert "python3 -m venv .venv && .venv/bin/pip install '.[test]' && .venv/bin/python -m pytest" in text
