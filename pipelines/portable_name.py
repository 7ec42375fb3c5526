"""Names that every file system takes, and which names some of them take for one.

Reserved names and characters: Microsoft, "Naming Files, Paths, and Namespaces"; exFAT and SMB shares take what Windows takes (from
memory). Longest name: 255 bytes on Linux, 255 UTF-16 units on NTFS and APFS.
"""

from __future__ import annotations

import re
import unicodedata

__all__ = ["FORBIDDEN", "MOST_BYTES", "is_device", "safe_name", "same_name"]

FORBIDDEN = '<>:"/\\|?*'
MOST_BYTES = (
    200  # of a name without its extension: room for a frame number, a kind and a working file's marks
)
_DEVICES = {"con", "prn", "aux", "nul", *(f"{d}{n}" for d in ("com", "lpt") for n in "123456789")}
_UNSAFE = re.compile(f"[{re.escape(FORBIDDEN)}\\x00-\\x1f\\x7f]")


def is_device(name: str) -> bool:
    """True if Windows takes a name for one of its devices, whatever its extension."""
    return name.split(".")[0].lower() in _DEVICES


def safe_name(name: str) -> str:
    """A file name that Linux, macOS and Windows all take: unsafe characters become `_`, ends are trimmed.

    Letters of every script stay, composed (NFC). A device name of Windows gets a `_` in front.
    """
    clean = _UNSAFE.sub("_", unicodedata.normalize("NFC", name)).strip(" ").rstrip(". ")
    if not clean.isprintable():
        clean = "".join(
            c if unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Co", "Cn") else "_" for c in clean
        )
    if is_device(clean) or not clean or clean.startswith("."):
        clean = f"_{clean}"
    while len(clean.encode()) > MOST_BYTES:
        clean = clean[:-1]
    return clean.rstrip(". ") or "_"


def same_name(path: str) -> str:
    """A key that two paths share where some file system takes them for one: upper and lower case, composed and decomposed letters."""
    return unicodedata.normalize("NFD", unicodedata.normalize("NFD", path).casefold())
