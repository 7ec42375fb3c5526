"""Sending: a channel tried a few times within a bounded time, on a thread of its own, with its fault as a sentence."""

from __future__ import annotations

import socket
import ssl
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from rushlight.batch.tell.message import Message
from rushlight.batch.tell.secrets_kept import Secret
from rushlight.pipelines.visible_text import visible

__all__ = ["Answer", "Channel", "Refused", "answer_text", "deliver", "why_not"]

WAITS = (1.0, 4.0)  # seconds before the second and the third try
IN_ALL = 60.0  # seconds that one message may take on one channel, whatever the server does


class Refused(Exception):
    """A server did not take a message: why, in words. `again`: another try may do."""

    def __init__(self, text: str, *, again: bool) -> None:
        super().__init__(text)
        self.text, self.again = text, again


class Channel(Protocol):
    """A way to people."""

    @property
    def name(self) -> str: ...

    @property
    def place(self) -> str: ...

    @property
    def tries(self) -> int: ...

    @property
    def secrets(self) -> Sequence[Secret | None]: ...

    def described(self) -> str: ...

    def send(self, message: Message) -> str: ...


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What came of a message on one channel, in words."""

    channel: str
    taken: bool
    text: str


def deliver(
    channel: Channel,
    message: Message,
    *,
    within: float = IN_ALL,
    wait: Callable[[float], object] = time.sleep,
) -> Answer:
    """Send a message, again where that may help. Raises nothing, and takes no longer than `within` seconds: a server that trickles
    its answer is left to itself."""
    found: list[Answer] = []

    def sending() -> None:
        found.append(_tried(channel, message, wait))

    thread = threading.Thread(target=sending, name=f"tell by {channel.name}", daemon=True)
    thread.start()
    thread.join(within)
    if found:
        return found[0]
    text = f"{channel.place} was not done after {within:.0f} s; whether it took the message is not known"
    return Answer(channel=channel.name, taken=False, text=text)


def _tried(channel: Channel, message: Message, wait: Callable[[float], object]) -> Answer:
    for number in range(1, channel.tries + 1):
        try:
            return Answer(channel=channel.name, taken=True, text=channel.send(message))
        except Refused as refusal:
            if not refusal.again or number == channel.tries:
                times = f" ({number} tries)" if number > 1 else ""
                return Answer(channel=channel.name, taken=False, text=refusal.text + times)
        except Exception as error:  # what nobody expected costs the night nothing
            text = f"{channel.place}: a fault of rushlight's own: {type(error).__name__}"
            return Answer(channel=channel.name, taken=False, text=text)
        wait(WAITS[number - 1])
    raise AssertionError("not reached: the last try returns")


def answer_text(code: int, said: bytes | str) -> str:
    """A server's own words in one line, the first of them."""
    text = said.decode("utf-8", "replace") if isinstance(said, bytes) else said
    return f"{code} {visible(' '.join(text.split()))[:200]}".strip()


def why_not(error: Exception, seconds: float) -> tuple[str, bool]:
    """Why a server could not be spoken to, and whether another try may do."""
    if isinstance(error, ssl.SSLCertVerificationError):
        return (
            f"shows a certificate that does not hold ({getattr(error, 'verify_message', 'no reason given')}); nothing was sent",
            False,
        )
    if isinstance(error, ssl.SSLError):
        return (
            f"does not speak TLS as it should ({getattr(error, 'reason', None) or 'no reason given'}); nothing was sent",
            False,
        )
    if isinstance(error, TimeoutError):
        return f"did not answer within {seconds:.0f} s", True
    if isinstance(error, ConnectionRefusedError):
        return "refuses connections: nothing listens there", True
    if isinstance(error, socket.gaierror):
        return "is a name that nobody knows (DNS)", True
    if isinstance(error, ConnectionError):
        return "ended the connection", True
    if isinstance(error, OSError):
        return f"cannot be reached: {error.strerror or type(error).__name__}", True
    return f"could not be spoken to: {type(error).__name__}", False
