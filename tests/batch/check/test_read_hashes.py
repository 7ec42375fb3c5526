"""Files read for their hashes: once, few at a time, and never written."""

import os
import threading
from pathlib import Path

import pytest

from manifests import HASH, card
from rushlight.batch.check import read_hashes
from rushlight.batch.check.read_hashes import MOST_AT_ONCE, hashes_of, verdicts_of
from rushlight.pipelines.manifests.hash_list import StatedHash
from rushlight.pipelines.manifests.history import Expected
from rushlight.pipelines.manifests.verdicts import ToHash

DATA = bytes(range(256)) * 12_345  # over three blocks


def to_hash(path: str, data: bytes, *kinds: str) -> ToHash:
    expected = tuple(
        Expected(
            path=path,
            generation=1,
            manifest="1.mhl",
            size=len(data),
            hash=StatedHash(kind=kind, value=HASH[kind](data)),
        )
        for kind in kinds
    )
    return ToHash(path=path, size=len(data), expected=expected)


def test_all_kinds_in_one_reading(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = card(tmp_path, a_mov=DATA) / "a.mov"
    opened, blocks = [], []
    before = os.open
    monkeypatch.setattr(
        os, "open", lambda p, *more, **named: (opened.append(p), before(p, *more, **named))[1]
    )
    found = hashes_of(path, list(HASH), len(DATA), blocks.append)
    assert found == {kind: make(DATA) for kind, make in HASH.items()}
    assert (opened, sum(blocks), max(blocks)) == ([path], len(DATA), 1 << 20)


def test_verdicts_come_whatever_the_kind(tmp_path: Path) -> None:
    card(tmp_path, a_mov=DATA, b_mov=b"", c_mov=b"c", d_mov=b"d")
    files = [
        to_hash("a.mov", DATA, "xxh64", "md5"),
        to_hash("b.mov", b"", "c4"),
        to_hash("c.mov", b"x", "xxh3"),
        to_hash("d.mov", b"d", "sha1"),
    ]
    told: list[int] = []
    found = {
        v.path: v.verdict for v in verdicts_of(tmp_path, files, on_bytes=lambda path, size: told.append(size))
    }
    assert found == {"a.mov": "matches", "b.mov": "matches", "c.mov": "differs", "d.mov": "matches"}
    assert told == sorted(told) and told[-1] == len(DATA) + 2


@pytest.mark.parametrize(("kind", "most"), [("xxh64", 1), ("md5", MOST_AT_ONCE)])
def test_few_files_are_read_at_once(
    kind: str, most: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lock, now, seen = threading.Lock(), [0], []

    def slowly(path: Path, *more: object) -> dict[str, str]:
        with lock:
            now[0] += 1
            seen.append(now[0])
        threading.Event().wait(0.01)
        with lock:
            now[0] -= 1
        return {kind: HASH[kind](b"1")}

    monkeypatch.setattr(read_hashes, "hashes_of", slowly)
    monkeypatch.setattr(os, "cpu_count", lambda: 64)
    files = [to_hash(f"{n}", b"1", kind) for n in range(20)]
    assert {v.verdict for v in verdicts_of(tmp_path, files)} == {"matches"}
    assert 1 <= max(seen) <= most


def test_what_does_not_read_has_its_verdict_and_the_others_theirs(tmp_path: Path) -> None:
    card(tmp_path, a_mov=b"1", b_mov=b"2", c_mov=b"1")
    (tmp_path / "b.mov").unlink()
    (tmp_path / "c.mov").unlink()
    (tmp_path / "c.mov").symlink_to("a.mov")
    found = {
        v.path: v
        for v in verdicts_of(tmp_path, [to_hash(name, b"1", "xxh64") for name in ("a.mov", "b.mov", "c.mov")])
    }
    assert {p: v.verdict for p, v in found.items()} == {
        "a.mov": "matches",
        "b.mov": "cannot be read",
        "c.mov": "cannot be read",
    }
    assert found["b.mov"].text == "No such file or directory"


def test_an_error_in_the_middle_of_a_file(tmp_path: Path) -> None:
    """A disk that gives one block and then an error: `/proc/self/mem` at 0 does so."""
    (found,) = verdicts_of(Path("/proc/self"), [to_hash("mem", b"1", "xxh64")])
    assert (found.verdict, found.text) == ("cannot be read", "Input/output error")


def test_a_file_that_grows_meanwhile_is_not_called_a_match(tmp_path: Path) -> None:
    path = card(tmp_path, a_mov=DATA) / "a.mov"

    def grow(size: int) -> None:
        with path.open("ab") as stream:
            stream.write(b"more")

    with pytest.raises(Exception, match="changed while it was checked"):
        hashes_of(path, ["xxh64"], len(DATA), grow)


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (found,) = verdicts_of(tmp_path, [to_hash("pipe", b"1", "xxh64")])
    assert found.text == "is no plain file"


def test_who_leaves_early_leaves_no_reader_behind(tmp_path: Path) -> None:
    card(tmp_path, a_mov=DATA)
    files = [to_hash("a.mov", DATA, "xxh64")] * 50
    checking = verdicts_of(tmp_path, files)
    next(checking)
    checking.close()  # type: ignore[attr-defined]
    assert not [t for t in threading.enumerate() if t.name.startswith("hash")]
