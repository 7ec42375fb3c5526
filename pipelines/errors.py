"""Every error of ours, one tree.

    RushlightError              text, and where: file, line, key
    ├── InputError              what the user gave is wrong; nothing was touched
    │   ├── RecipeError         a recipe: key `output[2].size`
    │   ├── ListError           a clip list or one of its rows
    │   ├── GradeError          a colour decision (ASC CDL) or its source
    │   ├── LutError            a LUT file
    │   ├── FramingError        a framing decision list (ASC FDL), or what it says of a clip
    │   ├── EncodingError       an unknown or ambiguous encoding, levels or display
    │   │   └── UnstatedError   nobody states it
    │   ├── TimecodeError       a timecode or frame rate
    │   ├── ManifestError       a hash manifest of originals, or its chain
    │   └── OptionError         a command's options or folders
    │       └── OutsideError    a name that leads out of the folder it is stated for
    ├── SourceError             an original is missing, does not open or does not decode
    │   └── ChangedError        it is not as it was when it was planned
    ├── DeliveryError           an output failed its check, and was not given its final name
    ├── ResourceError           the machine is short of something: disk, memory, handles
    ├── CardError               the machine has no graphics card that can be used, and must
    ├── QueueError              the queue file, its runner or its farm
    ├── CancelledError          the caller cancelled it, and it has nothing to give
    └── OwnFault                a fault of rushlight's own in one clip; the others go on

Whether an error stops the whole request or sets one clip aside is for the caller to say: an unreadable
LUT is the first in a recipe and the second in a row. All survive pickling, so that workers may raise them.
"""

from __future__ import annotations

import errno
import traceback
from typing import Protocol, Self

__all__ = [
    "CancelledError",
    "CardError",
    "ChangedError",
    "DeliveryError",
    "EncodingError",
    "FramingError",
    "GradeError",
    "InputError",
    "ListError",
    "LutError",
    "ManifestError",
    "OptionError",
    "OutsideError",
    "OwnFault",
    "QueueError",
    "RecipeError",
    "ResourceError",
    "RushlightError",
    "SourceError",
    "TimecodeError",
    "UnstatedError",
    "from_os",
    "own_fault",
    "said",
]


class RushlightError(Exception):
    """One clear sentence: what was found and what would do. `file`, `line` and `key` say where. `trace` is the traceback
    of what nobody expected, for the log."""

    def __init__(
        self,
        text: str,
        *,
        file: str | None = None,
        line: int | None = None,
        key: str | None = None,
        trace: str = "",
    ) -> None:
        super().__init__(text)
        self.text = text
        self.file = file
        self.line = line
        self.key = key
        self.trace = trace

    def at(self, *, file: str | None = None, line: int | None = None, key: str | None = None) -> Self:
        """The same error with the places it does not know yet filled in; a known key gets `key` as its parent."""
        if key and self.key:
            key = f"{key}{self.key}" if self.key.startswith("[") else f"{key}.{self.key}"
        return type(self)(
            self.text,
            file=self.file or file,
            line=self.line if self.line is not None else line,
            key=key or self.key,
            trace=self.trace,
        )

    def __str__(self) -> str:
        place = self.file or ""
        if self.line is not None:
            place += f":{self.line}" if place else f"line {self.line}"
        return ": ".join(part for part in (place, self.key, self.text) if part)

    def __reduce__(self) -> tuple[object, ...]:
        return _again, (type(self), self.text, self.file, self.line, self.key, self.trace)


def _again(
    kind: type[RushlightError],
    text: str,
    file: str | None,
    line: int | None,
    key: str | None,
    trace: str = "",
) -> RushlightError:
    return kind(text, file=file, line=line, key=key, trace=trace)


class InputError(RushlightError):
    """A fault of what the user gave."""


class RecipeError(InputError):
    """A recipe is wrong."""


class ListError(InputError):
    """A clip list, or one of its rows, is wrong."""


class GradeError(InputError):
    """A colour decision, or the file it came from, is wrong."""


class LutError(InputError):
    """A LUT file is wrong."""


class FramingError(InputError):
    """A framing decision list is wrong, or does not fit a clip."""


class EncodingError(InputError):
    """An encoding, its levels or a display is unknown or ambiguous."""


class UnstatedError(EncodingError):
    """Nobody states a clip's encoding, which is never guessed."""


class TimecodeError(InputError):
    """A timecode or frame rate is wrong."""


class ManifestError(InputError):
    """A hash manifest of originals, or the chain of its generations, is wrong."""


class OptionError(InputError):
    """An option of a command, or a folder it names, is wrong."""


class OutsideError(OptionError):
    """A name in a record, or a link in an output folder, leads out of that folder: nothing there was touched."""


class SourceError(RushlightError):
    """An original is missing, does not open or does not decode."""


class ChangedError(SourceError):
    """An original is not as it was when it was planned: it may still be growing."""


class DeliveryError(RushlightError):
    """An output failed its check and has no final name."""


class ResourceError(RushlightError):
    """The machine is short of disk, memory or handles: try again later."""


class CardError(RushlightError):
    """This machine has no graphics card that can be used, and one is required: another machine has to do it."""


class QueueError(RushlightError):
    """The queue, its runner or its farm cannot go on."""


class CancelledError(RushlightError):
    """The caller of the Python API cancelled what only gives a result."""


class OwnFault(RushlightError):
    """A fault of rushlight's own in one clip: that clip fails, the others go on."""


LONGEST = 300  # characters that are shown of what a library says


def said(error: BaseException) -> str:
    """Text of an unexpected exception, on one line that is not too long."""
    text = " ".join(str(error).split())
    return f"{type(error).__name__}: {text[:LONGEST]}{'...' if len(text) > LONGEST else ''}"


def own_fault(error: Exception, what: str, path: object = None) -> RushlightError:
    """Ours for an exception that nobody expected while one clip was `what` ("planned"); what is ours already stays."""
    if isinstance(error, RushlightError):
        return error
    if isinstance(error, OSError):
        return from_os(error, path or error.filename or what, reading=True)
    trace = "".join(traceback.format_exception(error))
    text = f"a fault of rushlight's own while it was {what}: {said(error)}"
    return OwnFault(text, file=str(path) if path else None, trace=trace)


_SHORT_OF = {
    errno.ENOSPC: "no space left on the disk",
    errno.EDQUOT: "the disk quota is used up",
    errno.EROFS: "the disk is read-only",  # as a system leaves it after a fault: a person may set it right
    errno.EFBIG: "the file is larger than the limit allows",
    errno.EMFILE: "too many open files",
    errno.ENFILE: "too many open files on this machine",
    errno.ENOMEM: "out of memory",
}


class _SystemError(Protocol):
    """An OSError, or a media library's error that has the same numbers."""

    @property
    def errno(self) -> int | None: ...
    @property
    def strerror(self) -> str | None: ...


def from_os(error: _SystemError, path: object, *, reading: bool = False) -> RushlightError:
    """Ours for an operating system's (or a media library's) error about `path`; resource shortages told apart."""
    if error.errno in _SHORT_OF:
        return ResourceError(_SHORT_OF[error.errno], file=str(path))
    text = error.strerror or str(error)
    return (SourceError if reading else DeliveryError)(text, file=str(path))


FULL = (errno.ENOSPC, errno.EDQUOT)


def no_room(error: BaseException) -> bool:
    """True if an error says that a disk is full or a quota used up: it will do once there is room."""
    if isinstance(error, ResourceError):
        return error.text in {_SHORT_OF[code] for code in FULL}
    return isinstance(error, OSError) and error.errno in FULL
