"""The real photographs and the camera-like originals made from them, where they are to be had."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
PLACE = Path(os.environ.get("RUSHLIGHT_REAL", ROOT.parent / "shared" / "real"))


def photographs() -> list[Path]:
    """Scene-linear EXR photographs; skips the test where they are absent."""
    found = sorted(PLACE.glob("*.exr"))
    if not found:
        pytest.skip(f"no real photographs: {PLACE} is absent (set RUSHLIGHT_REAL)")
    return found


def originals(
    seconds: float = 1.0, size: str = "960x540", only: str | None = None
) -> tuple[Path, list[dict[str, Any]]]:
    """A folder of camera-like originals and the truth about each, made once a machine and settings."""
    photographs()
    folder = (
        Path(tempfile.gettempdir())
        / f"rushlight-originals-{os.getuid()}"
        / f"{size}-{seconds:g}s-{only or 'all'}"
    )
    if not folder.exists():
        folder.parent.mkdir(parents=True, exist_ok=True)
        part = Path(tempfile.mkdtemp(prefix=f"{folder.name}.", dir=folder.parent))
        command = [
            sys.executable,
            str(PLACE / "make_originals.py"),
            str(part),
            "--seconds",
            f"{seconds:g}",
            "--size",
            size,
        ]
        subprocess.run([*command, "--only", only] if only else command, check=True, capture_output=True)
        try:
            part.rename(folder)
        except OSError:  # another test process was first
            shutil.rmtree(part)
    return folder, json.loads((folder / "originals.json").read_text())
