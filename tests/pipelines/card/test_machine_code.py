"""Machine code is made once a machine, whoever asks; damage or a folder that cannot be written costs a compilation."""

import hashlib
import multiprocessing
import os
from pathlib import Path

import pytest

from rushlight.pipelines.card.machine_code import kept


@pytest.fixture(autouse=True)
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path / "rushlight" / "card"


def asked(facts: tuple[object, ...] = ("text", "90"), code: bytes = b"code") -> tuple[bytes, int]:
    """What was given, and how often it was made for that."""
    made: list[bytes] = []

    def make() -> bytes:
        made.append(code)
        return code

    return kept(facts, make), len(made)


def test_it_is_made_once_for_the_same_facts(cache: Path) -> None:
    assert asked() == (b"code", 1)
    assert asked() == (b"code", 0)
    assert asked(("text", "89"), b"other") == (b"other", 1)
    assert not [path for path in cache.iterdir() if path.name.startswith(".")]
    assert cache.stat().st_mode & 0o77 == 0


@pytest.mark.parametrize("damage", [b"", b"short", b"x" * 40])
def test_a_damaged_file_is_made_again(cache: Path, damage: bytes) -> None:
    asked()
    (path,) = (path for path in cache.iterdir() if path.name != "lock")
    path.write_bytes(damage)
    assert asked() == (b"code", 1)
    assert asked() == (b"code", 0)


def test_where_nothing_can_be_kept_it_is_made_each_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    assert asked() == asked() == (b"code", 1)


def test_code_that_somebody_else_may_have_put_there_is_not_run(
    cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked(code=b"planted")
    (path,) = (path for path in cache.iterdir() if path.name != "lock")
    for place in (path, cache):
        mode = place.stat().st_mode
        place.chmod(mode | 0o022)  # any user of the machine could have written it
        assert asked() == (b"code", 1)
        place.chmod(mode)
        path.write_bytes(hashlib.sha256(b"planted").digest() + b"planted")
    assert asked() == (b"planted", 0)  # so it would be run
    moved = cache.with_name("elsewhere")
    cache.rename(moved)
    cache.symlink_to(moved)
    assert asked() == (b"code", 1)
    cache.unlink()
    moved.rename(cache)
    monkeypatch.setattr(os, "geteuid", lambda: path.stat().st_uid + 1)
    assert asked() == asked() == (b"code", 1)


def test_a_relative_cache_folder_is_not_the_folder_somebody_works_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "card").mkdir()
    monkeypatch.chdir(tmp_path / "card")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("XDG_CACHE_HOME", "cache")
    assert asked() == (b"code", 1) and asked() == (b"code", 0)
    assert not list((tmp_path / "card").iterdir())


def test_a_user_without_a_home_compiles_for_himself(monkeypatch: pytest.MonkeyPatch) -> None:
    def nowhere() -> Path:
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.setenv("XDG_CACHE_HOME", "")
    monkeypatch.setattr(Path, "home", nowhere)
    assert asked() == asked() == (b"code", 1)


def _ask(folder: Path) -> None:
    def make() -> bytes:
        with (folder / "made").open("a") as file:
            file.write("once\n")
        return b"code"

    kept(("same",), make)


def test_processes_that_ask_at_once_make_it_once(tmp_path: Path) -> None:
    context = multiprocessing.get_context("fork")
    processes = [context.Process(target=_ask, args=(tmp_path,)) for _ in range(4)]
    for process in processes:
        process.start()
    for process in processes:
        process.join()
    assert (tmp_path / "made").read_text() == "once\n"
