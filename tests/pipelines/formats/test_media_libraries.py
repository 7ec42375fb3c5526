"""What media libraries raise about an original is an error of that file, with what was tried."""

import errno
from pathlib import Path

import av
import pytest

from pictures import texture, write_movie
from rushlight.pipelines.errors import GradeError, ResourceError, RushlightError, SourceError
from rushlight.pipelines.formats.media_libraries import MOV, image_fault, open_movie, source_errors

BROKEN = UnicodeDecodeError("utf-8", b"type '\xe9ompression'\n at 3", 6, 7, "invalid")


@pytest.mark.parametrize(
    ("error", "kind", "says", "traced"),
    [
        (av.error.InvalidDataError(1, "Invalid data"), SourceError, "does not open: Invalid data", False),
        (BROKEN, SourceError, "does not open: UnicodeDecodeError: 'utf-8' codec", True),
        (AttributeError("x" * 5000), SourceError, "does not open: AttributeError: xxx", True),
        (MemoryError(), SourceError, "asks for more memory than there is", False),
        (OSError(errno.EMFILE, "x"), ResourceError, "too many open files", False),
        (PermissionError(errno.EACCES, "Permission denied"), SourceError, "Permission denied", False),
    ],
)
def test_each_is_told_as_ours(error: Exception, kind: type[RushlightError], says: str, traced: bool) -> None:
    with pytest.raises(kind) as caught, source_errors(Path("a.mov"), "does not open"):
        raise error
    assert caught.value.file == "a.mov" and says in caught.value.text and len(caught.value.text) < 400
    assert ("Traceback" in caught.value.trace) is traced


def test_ours_pass_and_so_does_a_stop() -> None:
    for error in (GradeError("x"), KeyboardInterrupt()):
        with pytest.raises(type(error)) as caught, source_errors(Path("a.mov"), "does not open"):
            raise error
        assert caught.value is error


def test_raw_bytes_in_what_the_library_says() -> None:
    class Reader:
        def geterror(self) -> str:
            raise BROKEN

    assert image_fault(Reader()) == "type '\ufffdompression' at 3"
    assert image_fault(type("Silent", (), {"geterror": lambda self: ""})()) == "it says nothing of why"


def test_a_movie_is_what_it_holds_and_not_what_its_name_says(tmp_path: Path) -> None:
    """Asked for as MOV first where the name says so: the demultiplexer's name stays, and other kinds open as before."""
    frames = [texture("yuv422p10le", 32, 16)]
    write_movie(tmp_path / "a.mkv", frames, codec="ffv1")
    write_movie(tmp_path / "b.mov", frames)
    (tmp_path / "c.mov").write_bytes((tmp_path / "a.mkv").read_bytes())
    (tmp_path / "d.MOV").write_bytes((tmp_path / "b.mov").read_bytes())
    for name, kind in (
        ("a.mkv", "matroska,webm"),
        ("b.mov", MOV),
        ("c.mov", "matroska,webm"),
        ("d.MOV", MOV),
    ):
        with open_movie(tmp_path / name) as movie:
            assert movie.format.name == kind, name
    (tmp_path / "e.mov").write_bytes(b"no movie" * 99)
    with pytest.raises(av.error.InvalidDataError):
        open_movie(tmp_path / "e.mov")
