"""Secrets: a password, a key or an address that is nobody else's, from the environment or a file that only its owner can read. They are
shown in no message, record or traceback."""

from __future__ import annotations

import base64
import os
import stat
from collections.abc import Iterable, Mapping
from pathlib import Path
from urllib.parse import quote

from rushlight.pipelines.errors import OptionError

__all__ = ["Secret", "read_secret", "without"]

MOST = 4096  # bytes of a file with a secret


class Secret:
    """A secret, which is only to be had by asking for it."""

    __slots__ = ("_text",)

    def __init__(self, text: str) -> None:
        self._text = text

    def reveal(self) -> str:
        """The secret itself."""
        return self._text

    def __repr__(self) -> str:
        return "Secret(…)"

    def __reduce__(self) -> str:
        raise TypeError("a secret is not sent anywhere")


def read_secret(variable: str, file: Path | None, environment: Mapping[str, str]) -> Secret | None:
    """The secret in a file, else in a variable of the environment; None where there is neither. OptionError for a file that
    others can read, or that holds nothing."""
    if file is None:
        text = environment.get(variable, "").strip()
        return _one_line(text, f"${variable}") if text else None
    return _one_line(_read(file), str(file))


def _one_line(text: str, place: str) -> Secret:
    if not text or not text.isprintable():
        raise OptionError("takes one line with the secret and nothing else", file=place)
    return Secret(text)


def _read(file: Path) -> str:
    try:
        handle = os.open(file, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
        with open(handle, "rb") as stream:
            info = os.fstat(handle)
            if not stat.S_ISREG(info.st_mode):
                raise OptionError("is no file; a secret stands in a file of its own", file=str(file))
            if info.st_mode & 0o077:
                mode = stat.S_IMODE(info.st_mode)
                text = f"holds a secret and others may read it (mode {mode:o}), so it is not used; `chmod 600` makes it yours alone"
                raise OptionError(text, file=str(file))
            if info.st_uid not in (os.geteuid(), 0):
                raise OptionError(
                    "belongs to another user, so it is not used as a secret; it must be yours", file=str(file)
                )
            data = stream.read(MOST + 1)
    except OSError as error:
        raise OptionError(f"cannot be read: {error.strerror}", file=str(file)) from None
    try:
        if len(data) <= MOST:
            return data.decode().strip()
    except UnicodeDecodeError:  # whose own words would show it
        pass
    raise OptionError("takes one line with the secret and nothing else", file=str(file))


def without(text: str, secrets: Iterable[Secret | None]) -> str:
    """A text of a server's or a library's with the secrets taken out, also as mail and web protocols write them."""
    for secret in secrets:
        if secret is None:
            continue
        bare = secret.reveal()
        coded = base64.b64encode(bare.encode()).decode()
        for form in sorted({bare, coded, coded.rstrip("="), quote(bare, safe="")}, key=len, reverse=True):
            text = text.replace(form, "…")
    return text
