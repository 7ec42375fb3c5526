"""Webhook: a message as JSON by POST, signed as the Standard Webhooks specification says (HMAC-SHA-256, symmetric, version `v1`)."""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import http.client
import ssl
import time
from dataclasses import dataclass, field
from pathlib import Path

from rushlight.batch.tell.message import Message
from rushlight.batch.tell.secrets_kept import Secret, without
from rushlight.batch.tell.sending import Refused, answer_text, why_not
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.recipe.tell_settings import parse_webhook
from rushlight.pipelines.visible_text import json_text

__all__ = ["Webhook", "key_of", "signature"]

SECONDS = 5.0  # that the server may take
READ = 2048  # bytes of an answer
PREFIX = "whsec_"


def key_of(secret: Secret, place: str) -> Secret:
    """A key as it was given, once it is one: `whsec_` and 24 to 64 bytes in base64, or the latter alone. OptionError, which does
    not show it."""
    try:
        size = len(_bytes(secret))
    except (binascii.Error, ValueError):
        size = 0
    if not 24 <= size <= 64:
        text = "is no key of a signature; it takes 24 to 64 random bytes in base64: `openssl rand -base64 32` makes one"
        raise OptionError(text, file=place)
    return secret


def signature(key: Secret, *, id: str, timestamp: int, body: bytes) -> str:
    """`v1,` and the base64 of the HMAC-SHA-256 of `id.timestamp.body` (Standard Webhooks, "Signature scheme")."""
    signed = f"{id}.{timestamp}.".encode() + body
    return "v1," + base64.b64encode(hmac.new(_bytes(key), signed, hashlib.sha256).digest()).decode()


def _bytes(key: Secret) -> bytes:
    return base64.b64decode(key.reveal().removeprefix(PREFIX), validate=True)


@dataclass(frozen=True, kw_only=True)
class Webhook:
    """Where messages are posted to. The address may be a secret itself: only its host is ever shown."""

    address: Secret
    key: Secret = field(repr=False)
    ca_file: Path | None = None
    seconds: float = SECONDS

    name = "webhook"
    tries = 3

    @property
    def place(self) -> str:
        """The server, as messages name it."""
        parts = parse_webhook(self.address.reveal())
        host = f"[{parts.hostname}]" if ":" in (parts.hostname or "") else parts.hostname
        return f"{host}:{parts.port}" if parts.port else f"{host}"

    @property
    def secrets(self) -> tuple[Secret | None, ...]:
        """What no message may show."""
        return self.key, self.address

    @property
    def encrypted(self) -> bool:
        return parse_webhook(self.address.reveal()).scheme == "https"

    def described(self) -> str:
        """A sentence on it."""
        how = "encrypted" if self.encrypted else "NOT encrypted: names of clips go in clear"
        return f"webhook to {self.place}, signed, {how}"

    def send(self, message: Message) -> str:
        """Post it. Gives the answer in words; Refused where that is none of 200 to 299."""
        body = json_text(message.document.plain()).encode("utf-8", "replace")
        id = "msg_" + hashlib.sha256(body).hexdigest()[:32]  # the same at every try
        now = int(time.time())
        headers = {
            "Content-Type": "application/json; charset=utf-8",
            "User-Agent": "rushlight",
            "webhook-id": id,
            "webhook-timestamp": str(now),
            "webhook-signature": signature(self.key, id=id, timestamp=now, body=body),
            "Connection": "close",
        }
        try:
            status, said = self._posted(body, headers)
        except Exception as error:
            text, again = _fault(error, self.seconds)
            raise Refused(without(f"{self.place} {text}", self.secrets), again=again) from None
        answer = without(f"{self.place} answered {answer_text(status, said)}", self.secrets)
        if 200 <= status < 300:
            return answer
        if 300 <= status < 400:
            raise Refused(f"{answer}: it points elsewhere, which is not followed", again=False)
        raise Refused(answer, again=status in (408, 425, 429) or status >= 500)

    def _posted(self, body: bytes, headers: dict[str, str]) -> tuple[int, str]:
        parts = parse_webhook(self.address.reveal())
        host = parts.hostname or ""
        if parts.scheme == "https":
            context = ssl.create_default_context(cafile=self.ca_file)
            link: http.client.HTTPConnection = http.client.HTTPSConnection(
                host, parts.port, timeout=self.seconds, context=context
            )
        else:
            link = http.client.HTTPConnection(host, parts.port, timeout=self.seconds)
        try:
            path = parts.path or "/"
            link.request("POST", f"{path}?{parts.query}" if parts.query else path, body, headers)
            answer = link.getresponse()  # a redirect is an answer like any other: this library follows none
            answer.read(READ)
            return answer.status, answer.reason
        finally:
            link.close()


def _fault(error: Exception, seconds: float) -> tuple[str, bool]:
    if isinstance(error, http.client.HTTPException) and not isinstance(error, ConnectionError):
        return "did not answer as a web server does", True
    return why_not(error, seconds)
