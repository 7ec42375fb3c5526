"""Sending: tries, bounds, and faults as sentences."""

from __future__ import annotations

import socket
import ssl
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import pytest

from rushlight.batch.tell.message import Message, trial_message
from rushlight.batch.tell.secrets_kept import Secret
from rushlight.batch.tell.sending import Refused, answer_text, deliver, why_not

MESSAGE = trial_message(title="Day 12", host="cart", time="2026-11-27T04:10:00+01:00")


@dataclass
class Toy:
    """A channel that does as it is told, a turn at a time."""

    turns: list[Callable[[], str]]
    name: str = "toy"
    place: str = "toy:1"
    tries: int = 3
    secrets: Sequence[Secret | None] = field(default_factory=list)

    def described(self) -> str:
        return "a toy"

    def send(self, message: Message) -> str:
        return self.turns.pop(0)()


def refuses(again: bool) -> Callable[[], str]:
    def turn() -> str:
        raise Refused("toy:1 says no", again=again)

    return turn


def breaks() -> str:
    raise RuntimeError("s3cret words")


def test_it_is_tried_again_only_where_that_may_help() -> None:
    waits = list[float]()
    answer = deliver(Toy([refuses(True), lambda: "toy:1 took it"]), MESSAGE, wait=waits.append)
    assert answer.taken and answer.text == "toy:1 took it" and waits == [1.0]
    toy = Toy([refuses(False), breaks])
    assert deliver(toy, MESSAGE, wait=waits.append).text == "toy:1 says no" and len(toy.turns) == 1
    answer = deliver(Toy([refuses(True)] * 3), MESSAGE, wait=waits.append)
    assert not answer.taken and answer.text == "toy:1 says no (3 tries)"


def test_what_nobody_expected_is_a_sentence_without_its_words() -> None:
    answer = deliver(Toy([breaks]), MESSAGE)
    assert not answer.taken and answer.text == "toy:1: a fault of rushlight's own: RuntimeError"


def test_it_takes_no_longer_than_it_may() -> None:
    over = threading.Event()
    answer = deliver(Toy([lambda: str(over.wait(60))]), MESSAGE, within=0.1)
    over.set()
    assert not answer.taken and "whether it took the message is not known" in answer.text


@pytest.mark.parametrize(
    ("error", "words", "again"),
    [
        (TimeoutError(), "did not answer within 5 s", True),
        (ConnectionRefusedError(), "nothing listens there", True),
        (socket.gaierror(), "a name that nobody knows", True),
        (ConnectionResetError(), "ended the connection", True),
        (OSError(113, "No route to host"), "No route to host", True),
        (ssl.SSLError(1, "[X] wrong version"), "does not speak TLS", False),
        (ValueError("s3cret"), "ValueError", False),
    ],
)
def test_each_fault_has_its_words(error: Exception, words: str, again: bool) -> None:
    text, may = why_not(error, 5.0)
    assert words in text and may == again and "s3cret" not in text


def test_a_servers_words_are_one_visible_line() -> None:
    assert answer_text(550, b"no\r\nsuch \x1b[1muser\xff") == "550 no such \\x1b[1muser\ufffd"
    assert len(answer_text(250, "x" * 999)) == 204
