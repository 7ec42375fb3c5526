"""Media libraries at the edge: a movie opened, and whatever a library raises about an original as an error of that file."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, cast

from rushlight.pipelines.errors import RushlightError, SourceError, from_os, own_fault, said

if TYPE_CHECKING:
    from av import VideoFrame
    from av.container import InputContainer
    from av.sidedata.sidedata import SideData, Type
    from av.stream import Stream
    from OpenImageIO import ImageBuf, ImageInput

MOV = "mov,mp4,m4a,3gp,3g2,mj2"  # FFmpeg's name of the demultiplexer
_MOV = (".mov", ".mp4", ".m4v")  # opened without asking every demultiplexer: a third of the time

__all__ = ["MOV", "image_fault", "open_movie", "side_data", "source_errors", "tick_of"]


@contextmanager
def source_errors(path: Path, tried: str, *, why: Callable[[Path], str] = lambda path: "") -> Iterator[None]:
    """Whatever is raised inside is an error of the original `path` that says what was tried, its traceback kept with it.

    `why` looks at a file that a media library did not open; where it finds a reason, that is said and not the library's. Errors of ours pass; of the system's, a shortage (handles, memory of the machine) is told apart."""
    import av

    try:
        yield
    except RushlightError:
        raise
    except av.error.FFmpegError as error:
        reason = ""
        with suppress(OSError):
            reason = why(path)
        text = f"it {reason}" if reason else error.strerror or error
        raise SourceError(f"{tried}: {text}", file=str(path)) from None
    except OSError as error:
        raise from_os(error, path, reading=True) from None
    except MemoryError:
        raise SourceError(f"{tried}: it asks for more memory than there is", file=str(path)) from None
    except Exception as error:
        trace = own_fault(error, tried).trace
        raise SourceError(f"{tried}: {said(error)}", file=str(path), trace=trace) from error


def open_movie(path: Path) -> InputContainer:
    """A movie, opened read-only by PyAV. What of its metadata is not UTF-8 reads as U+FFFD; PyAV's errors are its own."""
    import av

    av.logging.set_level(None)
    if path.suffix.lower() in _MOV:
        with suppress(av.error.FFmpegError):  # what only bears the name is looked at below, as all else
            return av.open(str(path), format=MOV, metadata_errors="replace")
    return av.open(str(path), metadata_errors="replace")


def tick_of(stream: Stream) -> Fraction:
    """Seconds that a stream's time stamps count in. ValueError where it states none."""
    if not stream.time_base:
        raise ValueError("its streams state no time base")
    return Fraction(stream.time_base)


def side_data(picture: VideoFrame, kind: Type) -> bytes | None:
    """Side data of a decoded picture; None where it has none of that kind."""
    held = cast("Mapping[Type, SideData]", picture.side_data).get(
        kind
    )  # PyAV's own types name one kind alone
    return None if held is None else bytes(held)


def image_fault(reader: ImageInput | ImageBuf | None = None) -> str:
    """OpenImageIO's error message, of one reader or of the last that did not open. It may quote bytes of the
    file."""
    import OpenImageIO as oiio

    try:
        text = reader.geterror() if reader is not None else oiio.geterror()
    except UnicodeDecodeError as error:
        text = error.object.decode("utf-8", "replace")
    return " ".join(str(text).split()) or "it says nothing of why"
