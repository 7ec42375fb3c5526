"""Names that hold on Linux, macOS, Windows, cards and shares; and which of them are one name there."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.pipelines.portable_name import safe_name, same_name


@pytest.mark.parametrize(
    ("name", "safe"),
    [
        ("A001C003", "A001C003"),
        ("a/b:c", "a_b_c"),
        ("con", "_con"),
        ("LPT1.mov", "_LPT1.mov"),
        ("x. ", "x"),
        (".hidden", "_.hidden"),
        ("", "_"),
        ("名前", "名前"),
    ],
)
def test_safe_names(name: str, safe: str) -> None:
    assert safe_name(name) == safe


@given(st.text(max_size=120))
def test_any_name_is_safe_and_stays_so(name: str) -> None:
    safe = safe_name(name)
    assert (
        safe
        and len(safe.encode()) <= 201
        and not set(safe) & set('<>:"/\\|?*\0')
        and not safe.endswith((".", " "))
    )
    assert safe_name(safe) == safe


def reserved() -> st.SearchStrategy[str]:
    return st.sampled_from(["con", "PRN", "aux", "NUL", "com1", "LPT9"]).flatmap(
        lambda d: st.sampled_from(
            [d, f"{d}.mov", f" {d}", f"{d}.", f"{d} ", f"{d}.a.b", f"{d.lower()}\u0000"]
        )
    )


@given(st.one_of(reserved(), st.text(max_size=300), st.text(".- \u0301e\u00e9\u200f~", max_size=40)))
def test_names_hold_on_linux_macos_and_windows(name: str) -> None:
    """Windows: no reserved device with any extension, none of its characters, no end in dot or space. macOS: composed
    and decomposed forms are one name there, so only composed ones are written. Linux: 255 bytes with an extension."""
    safe = safe_name(name)
    assert safe.split(".")[0].strip().lower() not in {"con", "prn", "aux", "nul"} | {
        f"{d}{n}" for d in ("com", "lpt") for n in range(1, 10)
    }
    assert not any(c in '<>:"/\\|?*' or ord(c) < 32 or ord(c) == 127 for c in safe)
    assert safe not in (".", "..") and not safe.startswith(".") and safe[-1] not in ". "
    assert unicodedata.normalize("NFC", safe) == safe and len(f"{safe}.000000.tiff16.tif".encode()) < 255
    assert safe_name(unicodedata.normalize("NFD", safe)) == safe


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("A/B.mov", "a/b.MOV"),
        ("Caf\u00e9", "Cafe\u0301"),
        ("CAFE\u0301", "caf\u00e9"),
        ("STRASSE", "stra\u00dfe"),
    ],
)
def test_names_that_some_system_takes_for_one(first: str, second: str) -> None:
    assert same_name(first) == same_name(second)
    assert same_name(first) != same_name(second + "x")
