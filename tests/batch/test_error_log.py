"""Tracebacks are kept in the log, and a sentence says so; an output folder that cannot be written to costs nothing else."""

import errno
import os
from pathlib import Path

import pytest

from rushlight.batch.error_log import ERRORS, kept_fault, unexpected
from rushlight.pipelines.errors import GradeError, OwnFault, SourceError, own_fault


def raised() -> Exception:
    try:
        return ZeroDivisionError(1 // 0)
    except ZeroDivisionError as error:
        return error


def test_an_error_that_carries_a_traceback_says_where_it_is(tmp_path: Path) -> None:
    fault = own_fault(raised(), "planned", "a.mov")
    assert isinstance(fault, OwnFault)
    kept = kept_fault(tmp_path, "A001C001", fault)
    assert str(kept) == f"{fault} ({ERRORS} shows where)" and kept.file == "a.mov"
    assert kept_fault(tmp_path, "A001C001", kept) is kept  # said once
    assert "A001C001\nTraceback" in (tmp_path / ERRORS).read_text()
    plain = SourceError("does not open", file="a.mov")
    assert kept_fault(tmp_path, "A001C001", plain) is plain


def test_an_exception_is_a_sentence(tmp_path: Path) -> None:
    text = unexpected(tmp_path, "showing A001C001", raised())
    assert text.startswith("showing A001C001 ended with a fault of rushlight's own: ZeroDivisionError: ")
    assert text.endswith(f"({ERRORS} shows where)")
    assert "raise" not in text and "ZeroDivisionError" in (tmp_path / ERRORS).read_text()
    assert unexpected(tmp_path, "x", GradeError("is wrong", file="a.cc")) == "a.cc: is wrong"


def test_a_folder_that_cannot_be_written_to(tmp_path: Path) -> None:
    (tmp_path / "log").write_text("a file")
    fault = own_fault(raised(), "planned")
    assert str(kept_fault(tmp_path, "a", fault)) == str(fault)
    assert ERRORS not in unexpected(tmp_path, "showing it", raised())


@pytest.mark.parametrize("code", [errno.EROFS, errno.EACCES, errno.ENOSPC])
def test_what_a_disk_or_a_folders_rights_say_is_no_fault_of_ours(tmp_path: Path, code: int) -> None:
    error = OSError(code, os.strerror(code), str(tmp_path / "log" / "verify.json"))
    text = unexpected(tmp_path, "making the report", error)
    assert text.startswith(f"making the report was not possible: {tmp_path}/log/verify.json: ")
    assert "fault" not in text and not (tmp_path / ERRORS).exists()
