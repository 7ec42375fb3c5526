"""Secrets from the environment and files, and that they are shown nowhere."""

from __future__ import annotations

import base64
import os
import pickle
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.tell.secrets_kept import Secret, read_secret, without
from rushlight.pipelines.errors import OptionError
from told_servers import secret_file


def test_a_file_comes_before_the_environment(tmp_path: Path) -> None:
    file = secret_file(tmp_path / "password", "from the file")
    found = read_secret("X", file, {"X": "from outside"})
    assert found and found.reveal() == "from the file"
    assert (found := read_secret("X", None, {"X": " from outside\n"})) and found.reveal() == "from outside"
    assert read_secret("X", None, {"X": ""}) is None and read_secret("X", None, {}) is None


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o620, 0o602, 0o644, 0o666, 0o610])
def test_a_file_that_others_may_read_is_refused_with_what_to_do(tmp_path: Path, mode: int) -> None:
    file = secret_file(tmp_path / "password", "hush", mode)
    with pytest.raises(OptionError, match="`chmod 600`") as error:
        read_secret("X", file, {})
    assert f"mode {mode:o}" in str(error.value) and "hush" not in str(error.value)


def test_a_file_of_another_user_is_refused(tmp_path: Path) -> None:
    file = secret_file(tmp_path / "password", "hush")
    os.chown(file, 12345, 12345)
    with pytest.raises(OptionError, match="belongs to another user"):
        read_secret("X", file, {})


@pytest.mark.parametrize("data", [b"", b"\n", b"two\nlines", b"\xff\xfe", b"x" * 5000, b"a\0b"])
def test_what_is_no_secret_is_refused_without_being_shown(tmp_path: Path, data: bytes) -> None:
    file = tmp_path / "password"
    file.write_bytes(data)
    file.chmod(0o600)
    with pytest.raises(OptionError, match="one line") as error:
        read_secret("X", file, {})
    assert "two" not in str(error.value) and error.value.__cause__ is None


def test_a_pipe_or_nothing_at_all_is_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe", 0o600)
    for name, words in (
        ("pipe", "is no file"),
        ("nothing", "cannot be read"),
        (".", "is no file|cannot be read"),
    ):
        with pytest.raises(OptionError, match=words):
            read_secret("X", tmp_path / name, {})


def test_it_is_shown_by_nothing() -> None:
    secret = Secret("hush")
    assert "hush" not in f"{secret} {secret!r} {[secret]} {vars(type(secret))}"
    with pytest.raises(TypeError):
        pickle.dumps(secret)


@given(st.text(min_size=4, alphabet=st.characters(categories=["L", "N", "P", "S"])))
def test_it_is_taken_out_of_what_a_server_says(text: str) -> None:
    coded = base64.b64encode(text.encode()).decode()
    found = without(f"<<{text}>> <<{coded}>>", [Secret(text), None])
    assert text not in found.replace("…", "") and coded not in found
