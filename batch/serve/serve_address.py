"""Where a night is served: the address with its token, the names that it answers to, and the certificate."""

from __future__ import annotations

import secrets
import socket
import ssl
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from rushlight.pipelines.errors import OptionError

__all__ = ["ServeAddress", "certificate", "own_names", "qr_code", "reached_at"]

LOOPBACK, EVERYWHERE = "127.0.0.1", "0.0.0.0"


@dataclass(frozen=True, kw_only=True)
class ServeAddress:
    """Where the page is to be opened."""

    host: str
    port: int
    token: str
    encrypted: bool
    lan: bool  # other machines reach it

    @property
    def url(self) -> str:
        """The address to open; who has it may look."""
        return f"http{'s' if self.encrypted else ''}://{self.host}:{self.port}/{self.token}/"


def new_token() -> str:
    """A token that nobody guesses: 24 random bytes."""
    return secrets.token_urlsafe(24)


def reached_at(*, lan: bool, names: Iterable[str]) -> str:
    """The host to tell people: a name that was given, or this machine's address in its network. Nothing is sent for it."""
    given = next(iter(names), "")
    if given or not lan:
        return given.partition(":")[0] or LOOPBACK
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(
                ("192.0.2.1", 9)
            )  # of a network kept for documentation (RFC 5737): only the route is looked up
            return str(probe.getsockname()[0])
        except OSError:
            return socket.gethostname()


def own_names(*, lan: bool, names: Iterable[str]) -> tuple[str, ...]:
    """Names that requests may give as their Host, beside the address that they came to."""
    host = socket.gethostname().lower()
    ours = (host, f"{host.partition('.')[0]}.local") if lan else ()
    return ("localhost", *ours, *(name.lower() for name in names))


def certificate(cert: Path | None, key: Path | None) -> ssl.SSLContext | None:
    """TLS with this certificate and its key (PEM); None without. OptionError where one of them is missing or no good."""
    if cert is None and key is None:
        return None
    if cert is None or key is None:
        raise OptionError("--tls-cert and --tls-key go together: a certificate and its key (PEM)")
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    try:
        context.load_cert_chain(cert, key, password=lambda: "")
    except (OSError, ssl.SSLError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise OptionError(f"--tls-cert {cert} with --tls-key {key}: {why}") from None
    return context


def qr_code(text: str) -> str:
    """A QR code (ISO/IEC 18004) in half blocks, two rows a line, light on dark as terminals mostly are."""
    import io

    import segno

    drawn = io.StringIO()
    segno.make(text, error="l", micro=False).terminal(drawn, compact=True)
    return drawn.getvalue()
