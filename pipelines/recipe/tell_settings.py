"""The `[tell]` table of a day document: who is told of the night by mail or by a webhook, and of which changes. It holds no secret."""

from __future__ import annotations

import re
from typing import Literal, get_args
from urllib.parse import SplitResult, urlsplit

from pydantic import Field, field_validator, model_validator

from rushlight.pipelines.recipe.clip_defaults import Model

__all__ = ["CHANGES", "ChangeKind", "Tell", "parse_webhook"]

ChangeKind = Literal["begun", "restarted", "paused", "late", "needs you", "ready", "stopped", "done"]
CHANGES: tuple[ChangeKind, ...] = get_args(ChangeKind)
PORTS = {"starttls": 587, "tls": 465, "none": 25}
LONGEST = 1000  # characters of a path or an address
_HOST = re.compile(r"[^\s/@\\?#]{1,253}")


class Tell(Model):
    """Who is told of the night, how, and of which changes. Passwords and keys never stand here: they come from the environment or
    from a file that only its owner can read ([Telling](telling.md))."""

    mail: tuple[str, ...] = Field(default=(), max_length=50)  # addresses
    sender: str = ""  # the address that mail comes from
    server: str = ""  # the mail server (SMTP) that takes it
    port: int | None = Field(
        default=None, ge=1, le=65535
    )  # 587 with starttls, 465 with tls, 25 with none, where it is not stated
    security: Literal["starttls", "tls", "none"] = "starttls"  # none is not encrypted, and sends no password
    user: str = Field(default="", max_length=LONGEST)  # where the mail server asks for one
    password_file: str = ""  # file of mode 0600 with its password, else $RUSHLIGHT_MAIL_PASSWORD
    ca_file: str = ""  # certificate of an authority of your own (PEM), for both servers
    webhook: str = ""  # address (https) that gets each message as JSON, signed; else $RUSHLIGHT_WEBHOOK, where it is secret
    webhook_key_file: str = ""  # file of mode 0600 with the key of the signature, else $RUSHLIGHT_WEBHOOK_KEY
    changes: tuple[ChangeKind, ...] = tuple(c for c in CHANGES if c != "begun")  # what is told
    every: int = Field(default=15, ge=5, le=1440)  # minutes between two messages at least, but for the last
    page: str = Field(
        default="", max_length=LONGEST
    )  # where readers find the page, as messages are to say it

    @field_validator("mail", "changes", mode="before")
    @classmethod
    def _one(cls, value: object) -> object:
        return (value,) if isinstance(value, str) else value

    @field_validator("mail", "sender")
    @classmethod
    def _addresses(cls, value: tuple[str, ...] | str) -> tuple[str, ...] | str:
        for address in (value,) if isinstance(value, str) else value:
            if (address or value == ("",)) and not _is_address(address):
                raise ValueError('takes mail addresses such as "dit@example.com", without a name')
        return value

    @field_validator("server")
    @classmethod
    def _server(cls, value: str) -> str:
        if value and not (_HOST.fullmatch(value) and value.isprintable() and value.count(":") != 1):
            raise ValueError("takes the name of a mail server, such as smtp.example.com; its port is `port`")
        return value

    @field_validator("password_file", "ca_file", "webhook_key_file")
    @classmethod
    def _paths(cls, value: str) -> str:
        if "\0" in value or len(value) > LONGEST:
            raise ValueError("has a name that no file has: it is too long, or has a NUL in it")
        return value

    @model_validator(mode="after")
    def _whole(self) -> Tell:
        if self.webhook:
            parse_webhook(
                self.webhook
            )  # not as a field's: a message would show the address, which may be secret
        if bool(self.mail) != bool(self.server) or bool(self.mail) != bool(self.sender):
            raise ValueError("mail takes all three of `mail`, `server` and `sender`")
        if self.security == "none" and (self.user or self.password_file):
            raise ValueError(
                'no password is sent without encryption; take `security = "none"` or `user` away'
            )
        if self.password_file and not self.user:
            raise ValueError("`password_file` goes with a `user`")
        return self

    @property
    def mail_port(self) -> int:
        """The mail server's port."""
        return self.port or PORTS[self.security]


def parse_webhook(address: str) -> SplitResult:
    """A webhook's address in parts. ValueError, which does not show it, where it will not do."""
    try:
        parts = urlsplit(address)
        port = parts.port
    except ValueError:
        raise ValueError("webhook is no address; it takes one such as https://example.com/hook") from None
    if parts.username is not None or parts.password is not None:
        raise ValueError("webhook has a user or a password in it; it takes an address without")
    if parts.scheme not in ("https", "http") or not parts.hostname or port == 0 or parts.fragment:
        raise ValueError("webhook is no address; it takes one such as https://example.com/hook")
    if not (address.isascii() and address.isprintable()) or " " in address or len(address) > 2000:
        raise ValueError("webhook has characters that no address has; write them as %XX, a host as xn--…")
    return parts


def _is_address(text: str) -> bool:
    if not text.isprintable() or any(c in text for c in ' ,;<>"()[]\\:') or len(text) > 254:
        return False
    local, at, domain = text.partition("@")
    try:
        domain.encode("idna")
    except UnicodeError:
        return False
    return bool(local and at and domain) and "@" not in domain
