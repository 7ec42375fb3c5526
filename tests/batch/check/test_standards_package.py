"""The standard's own package, ascmhl, on the same histories: it says the same, but for quirks of its own, each told here."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from manifests import HASH, card, chain, entry, generation, sealed
from rushlight.batch.check.check_media import Checked, check_media

FEW, ALL = 60, 200


def package(*words: object) -> list[dict[str, Any]]:
    """What the package says, a record a history."""
    pytest.importorskip("ascmhl", reason="the standard's own library, ascmhl, is not installed")
    script = Path(__file__).resolve().parents[2] / "support" / "ascmhl_histories.py"
    done = subprocess.run(
        [sys.executable, "-W", "ignore", str(script), *map(str, words)],
        capture_output=True,
        text=True,
        env={**os.environ, "LC_ALL": "C.UTF-8"},
    )
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


def paths(found: Checked, word: str) -> list[str]:
    return sorted(v.path.rstrip("/") for v in found.files if v.verdict == word)


def says_the_same(theirs: dict[str, Any], ours: Checked) -> bool:
    """All well to both or to neither; the same files named, where the package looks at files: it does not for a history that is
    not whole (30 to 33), and raises the worst alone."""
    if (ours.verdict == "all match") != (theirs["code"] == 0):
        return False
    if theirs["code"] in (30, 31, 32, 33):
        return any(m.verdict not in ("intact", "alone") for m in ours.manifests) or theirs["code"] == 30
    words = {"new": "not in the manifest", "differs": "differs", "missing": "missing"}
    return all(theirs[their] == paths(ours, word) for their, word in words.items())


def agree(folder: Path, first: int, count: int) -> None:
    records = package(folder, first, count)
    assert len(records) == count
    assert [r for r in records if not says_the_same(r, check_media(Path(r["root"])))] == []
    assert {r["code"] for r in records} >= {0, 10, 11, 21, 31, 32, 33}
    assert "no manifest" not in {check_media(Path(r["root"])).verdict for r in records if r["code"] != 30}


def test_histories_by_number(tmp_path: Path) -> None:
    agree(tmp_path, 0, FEW)


@pytest.mark.slow
def test_all_histories_by_number(tmp_path: Path) -> None:
    agree(tmp_path, 0, ALL)


def _named_by(root: Path, old: bytes, new: bytes) -> None:
    """Put other bytes into the manifest, and bring the chain up to it."""
    (manifest,) = (root / "ascmhl").glob("*.mhl")
    assert old in manifest.read_bytes()
    manifest.write_bytes(manifest.read_bytes().replace(old, new))
    chain(root / "ascmhl")


def _capitals(root: Path) -> None:
    sealed(root)
    stated = HASH["xxh64"](b"abc").encode()
    _named_by(root, stated, stated.upper())


def _unknown(root: Path) -> None:
    sealed(root, "md5")
    _named_by(root, b"md5", b"sha256")


def _version(root: Path) -> None:
    sealed(root)
    _named_by(root, b'version="2.0" xmlns="urn:ASC:MHL:v2.0"', b'version="1.0" xmlns="urn:ASC:MHL:v1.0"')


def _older(root: Path) -> None:
    sealed(root)
    data = b'<hashlist version="1.1"><hash><file>a.mov</file><size>3</size><xxhash64be>0</xxhash64be></hash></hashlist>'
    (manifest,) = (root / "ascmhl").glob("*.mhl")
    manifest.write_bytes(data)
    chain(root / "ascmhl")


def _cut(root: Path) -> None:
    sealed(root)
    _named_by(root, b"</hashlist>", b"")


def _outside(root: Path) -> None:
    sealed(root)
    _named_by(root, b">a.mov<", b">../a.mov<")


def _backslash(root: Path) -> None:
    card(root, Clips__b_mov=b"1")
    generation(root, entry("a.mov", b"abc"), entry("Clips\\b.mov", b"1"))


def _anchored(root: Path) -> None:
    card(root, Clips__b_mov=b"1")
    generation(root, entry("a.mov", b"abc"), ignore=["/Clips/b.mov"])


def _no_action(root: Path) -> None:
    generation(root, entry("a.mov", b"abc", action=""))


def _twice_renamed(root: Path) -> None:
    generation(root, entry("c.mov", b"abc"))
    generation(root, entry("b.mov", b"abc", action="verified", previous="c.mov"))
    generation(root, entry("a.mov", b"abc", action="verified", previous="b.mov"))


def _other_form(root: Path) -> None:
    card(root, **{"e\u0301_mov": b"1"})
    generation(root, entry("a.mov", b"abc"), entry("\u00e9.mov", b"1"))


def _above_and_below(root: Path) -> None:
    """A card was sealed anew after it was damaged; the folder above had its hash before."""
    card(root, A__b_mov=b"2")
    generation(root / "A", entry("b.mov", b"2"))
    generation(root, entry("a.mov", b"abc"), entry("A/b.mov", b"1"))


@pytest.mark.parametrize(
    ("make", "theirs", "ours"),
    [
        (_capitals, 11, "all match"),
        (_unknown, 21, "does not match"),  # a new file there; here no usable hash
        (_version, 0, "does not match"),
        (_older, "TypeError", "does not match"),
        (_cut, "XMLSyntaxError", "does not match"),
        (_outside, 21, "does not match"),  # looked for outside of the folder, there
        (_backslash, 21, "all match"),
        (_anchored, 21, "all match"),
        (_no_action, 21, "all match"),
        (_twice_renamed, 21, "all match"),
        (_other_form, 21, "all match"),
        (_above_and_below, 0, "does not match"),
    ],
    ids=lambda value: getattr(value, "__name__", ""),
)
def test_a_quirk(make: Callable[[Path], object], theirs: object, ours: str, tmp_path: Path) -> None:
    root = card(tmp_path / "card", a_mov=b"abc")
    make(root)
    assert check_media(root).verdict == ours
    assert package("--judge", root)[0]["code"] == theirs
