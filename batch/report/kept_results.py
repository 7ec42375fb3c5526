"""Results kept for the report, which no job's record holds: the last count of originals, and the last
measuring by `verify`.

Small JSON files beside the log of an output folder.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rushlight.batch.json_lines import plain_json
from rushlight.batch.records.shape import Shape, check_shape
from rushlight.batch.records.verdicts import Verdicts
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.inside_folder import read_bytes, write

__all__ = ["keep_verdicts", "kept_faults", "kept_verdicts"]

_SHAPES: Mapping[str, tuple[type[Shape], str]] = {
    "verify.json": (Verdicts, "there are no verdicts until the next verify"),
}


def keep_verdicts(document: Mapping[str, Any], out: Path) -> None:
    """Keep what `verify` found. Raises OSError where the folder cannot be written to."""
    _write(out, "log/verify.json", document)


def kept_verdicts(out: Path) -> dict[str, Any] | None:
    """Verdicts of the last `verify`; None where it was never run, or what it kept does not read."""
    return _read(out, "verify.json")[0]


def kept_faults(out: Path) -> list[str]:
    """Faults of kept results that do not read, a sentence each."""
    return [fault for name in _SHAPES if (fault := _read(out, name)[1])]


def _write(out: Path, name: str, document: Mapping[str, Any]) -> None:
    write(out, name, json.dumps(document, indent=1).encode("utf-8"))


def _read(out: Path, name: str) -> tuple[dict[str, Any] | None, str]:
    path, (shape, costs) = out / "log" / name, _SHAPES[name]
    try:
        document = plain_json(read_bytes(out, f"log/{name}"))
        check_shape(shape, document)
    except FileNotFoundError:
        return None, ""
    except OSError as error:
        return None, f"{path}: cannot be read: {error.strerror or error}; {costs}"
    except (ValueError, OptionError) as error:
        fault = error if isinstance(error, OptionError) else OptionError(str(error))
        return None, f"{fault.at(file=str(path))}; {costs}"
    return document, ""
