"""A webhook on a real server of this machine: its signature by the specification, and what is said where it is not taken."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import time
from pathlib import Path

import pytest

from machines import authority
from rushlight.batch.records.summary import ToldMessage
from rushlight.batch.tell.message import trial_message
from rushlight.batch.tell.secrets_kept import Secret
from rushlight.batch.tell.sending import Answer, deliver
from rushlight.batch.tell.webhook import Webhook, key_of, signature
from rushlight.pipelines.errors import OptionError
from told_servers import WebServer, web_server

BYTES = bytes(range(32))
KEY = Secret("whsec_" + base64.b64encode(BYTES).decode())


def hook(server: WebServer, path: str = "/in?room=7", scheme: str = "http", **options: object) -> Webhook:
    address = Secret(f"{scheme}://127.0.0.1:{server.port}{path}")
    return Webhook(address=address, key=KEY, **options)  # type: ignore[arg-type]


def sent(channel: Webhook, title: str = "The Lamp Room") -> Answer:
    message = trial_message(title=title, host="cart", time="2026-11-27T04:10:00+01:00")
    return deliver(channel, message, wait=lambda seconds: None, within=20.0)


def test_it_is_signed_as_the_specification_says() -> None:
    with web_server() as server:
        answer = sent(hook(server), "Der Löschzug 夜")
    assert answer.taken and answer.text == f"127.0.0.1:{server.port} answered 204 No Content"
    ((method, path, headers, body),) = server.requests
    assert method == "POST" and path == "/in?room=7"
    signed = f"{headers['webhook-id']}.{headers['webhook-timestamp']}.".encode() + body
    expected = base64.b64encode(hmac.new(BYTES, signed, hashlib.sha256).digest()).decode()
    assert headers["webhook-signature"] == f"v1,{expected}"
    assert abs(int(headers["webhook-timestamp"]) - time.time()) < 60
    document = ToldMessage.read(json.loads(body))
    assert document.type == "test" and document.data.title == "Der Löschzug 夜"


def test_the_signature_is_the_published_example() -> None:
    """Standard Webhooks, the specification's example of a signed message."""
    key = Secret("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
    found = signature(
        key, id="msg_p5jXN8AQM9LWM0D4loKWxJek", timestamp=1614265330, body=b'{"test": 2432232314}'
    )
    assert found == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_no_redirect_is_followed(status: int) -> None:
    with web_server() as other, web_server(status=lambda n: status) as server:
        server.location = f"http://127.0.0.1:{other.port}/stolen"
        answer = sent(hook(server))
    assert not answer.taken and "points elsewhere, which is not followed" in answer.text
    assert len(server.requests) == 1 and not other.requests


def test_it_is_tried_three_times_with_one_id() -> None:
    with web_server(status=lambda n: 503 if n < 3 else 200) as server:
        assert sent(hook(server)).taken
    assert (
        len(server.requests) == 3
        and len({headers["webhook-id"] for _, _, headers, _ in server.requests}) == 1
    )


def test_three_tries_are_all() -> None:
    with web_server(status=lambda n: 500) as server:
        answer = sent(hook(server))
    assert not answer.taken and "answered 500" in answer.text and "(3 tries)" in answer.text
    assert len(server.requests) == 3


def test_a_plain_no_is_not_asked_again() -> None:
    with web_server(status=lambda n: 404) as server:
        answer = sent(hook(server))
    assert not answer.taken and "answered 404" in answer.text and len(server.requests) == 1


def test_a_server_that_hangs_is_given_up() -> None:
    with web_server(silent=True) as server:
        answer = sent(hook(server, seconds=0.2))
    assert not answer.taken and "did not answer within" in answer.text


def test_encrypted_with_a_certificate_that_holds(tmp_path: Path) -> None:
    papers = authority(tmp_path / "ca", "hook")["hook"]
    with web_server(papers=papers) as server:
        assert sent(hook(server, scheme="https", ca_file=papers.ca)).taken
        stranger = authority(tmp_path / "other", "hook")["hook"]
        answer = sent(hook(server, scheme="https", ca_file=stranger.ca))
    assert not answer.taken and "certificate that does not hold" in answer.text
    assert len(server.requests) == 1


def test_its_address_is_shown_nowhere() -> None:
    with web_server(status=lambda n: 400) as server:
        channel = hook(server, "/T0KEN-in-the-path")
        answer = sent(channel)
    assert "T0KEN" not in answer.text + repr(channel) + channel.described()
    assert KEY.reveal() not in repr(channel)


@pytest.mark.parametrize(
    "text", ["", "whsec_", "not base64 !", base64.b64encode(b"short").decode(), "ü" * 40]
)
def test_what_is_no_key_is_refused_without_being_shown(text: str) -> None:
    with pytest.raises(OptionError, match="openssl rand -base64 32") as error:
        key_of(Secret(text), "$KEY")
    assert not text or text not in str(error.value)
