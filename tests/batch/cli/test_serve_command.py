"""`rushlight serve` as its user runs it: the address, plain words on who can read along, and a quiet end."""

import http.client
import json
import os
import pty
import signal
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from command import started
from here import run
from viewer import night_in


def asked(url: str) -> bytes:
    """What stands there."""
    where = urlsplit(url)
    connection = http.client.HTTPConnection("127.0.0.1", where.port or 0, timeout=20)
    try:
        connection.request("GET", f"{where.path}report/now.json", headers={"Host": where.netloc})
        return connection.getresponse().read()
    finally:
        connection.close()


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_it_serves_until_ctrl_c_and_ends_quietly(number: int, tmp_path: Path) -> None:
    night_in(tmp_path)
    process = started("serve", tmp_path, "--json")
    assert process.stdout is not None
    document = json.loads(process.stdout.readline())
    assert b"The Lamp Room" in asked(document["url"])
    process.send_signal(number)
    assert process.communicate(timeout=60) == ("", "") and process.returncode == 0


def test_it_says_in_plain_words_who_can_read_along(tmp_path: Path) -> None:
    night_in(tmp_path)
    for options, said in (
        ((), "Only this machine reaches it"),
        (("--lan", "--name", "localhost"), "NOT ENCRYPTED"),
    ):
        process = started("serve", tmp_path, *options)
        assert process.stdout is not None
        lines = ""
        while "Ctrl-C ends it" not in lines:
            lines += process.stdout.readline()
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=60)
        assert said in lines and "read-only" in lines and "█" not in lines and "http://" in lines
        assert process.returncode == 0


def test_what_is_wrong_is_one_line(tmp_path: Path) -> None:
    code, said = run("serve", tmp_path / "none")
    assert (code, said.count("\n")) == (2, 1) and "there is no such folder" in said
    code, said = run("serve", tmp_path, "--tls-cert", tmp_path / "x")
    assert code == 2 and "--tls-cert and --tls-key go together" in said


def test_in_a_terminal_a_phone_can_read_the_address(tmp_path: Path) -> None:
    night_in(tmp_path)
    ours, theirs = pty.openpty()
    process = started("serve", tmp_path, "--lan", "--name", "localhost", stdout=theirs, stderr=theirs)
    os.close(theirs)
    seen = b""
    while b"Ctrl-C ends it" not in seen:
        seen += os.read(ours, 65536)
    process.send_signal(signal.SIGINT)
    assert process.wait(60) == 0
    os.close(ours)
    assert (
        sum("█▄▄▄▄▄▄▄█" in line for line in seen.decode().splitlines()) >= 2
    )  # the foot of a code's corners
