"""Results kept for the report, which no job's record holds: the last measuring by `verify`, a JSON file beside the log."""

from __future__ import annotations

import json
from pathlib import Path

from rushlight.batch.json_lines import plain_json
from rushlight.batch.records.verdicts import Verdicts
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.inside_folder import read_bytes, write

__all__ = ["keep_verdicts", "kept_faults", "kept_verdicts"]

VERIFIED = "log/verify.json"


def keep_verdicts(verdicts: Verdicts, out: Path) -> None:
    """Keep what `verify` found. Raises OSError where the folder cannot be written to."""
    write(out, VERIFIED, json.dumps(verdicts.plain(), indent=1).encode("utf-8"))


def kept_verdicts(out: Path) -> Verdicts | None:
    """Verdicts of the last `verify`; None where it was never run, or what it kept does not read."""
    return _read(out)[0]


def kept_faults(out: Path) -> list[str]:
    """Faults of kept verdicts that do not read, a sentence each."""
    fault = _read(out)[1]
    return [fault] if fault else []


def _read(out: Path) -> tuple[Verdicts | None, str]:
    path, costs = out / VERIFIED, "there are no verdicts until the next verify"
    try:
        return Verdicts.read(plain_json(read_bytes(out, VERIFIED))), ""
    except FileNotFoundError:
        return None, ""
    except OSError as error:
        return None, f"{path}: cannot be read: {error.strerror or error}; {costs}"
    except (ValueError, OptionError) as error:
        fault = error if isinstance(error, OptionError) else OptionError(str(error))
        return None, f"{fault.at(file=str(path))}; {costs}"
