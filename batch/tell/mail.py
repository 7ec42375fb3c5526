"""Mail: a message given to a mail server (RFC 5321), encrypted by TLS and with its certificate checked."""

from __future__ import annotations

import smtplib
import ssl
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from email.message import EmailMessage
from email.utils import localtime, make_msgid
from pathlib import Path

from rushlight.batch.tell.message import Message
from rushlight.batch.tell.secrets_kept import Secret, without
from rushlight.batch.tell.sending import Refused, answer_text, why_not
from rushlight.pipelines.counted import counted

__all__ = ["Mail", "as_mail"]

SECONDS = 15.0  # that the server may take for each of its answers


@dataclass(frozen=True, kw_only=True)
class Mail:
    """Where mail goes. `security`: starttls, tls or none."""

    to: Sequence[str]
    sender: str
    server: str
    port: int
    security: str
    user: str = ""
    password: Secret | None = None
    ca_file: Path | None = None
    seconds: float = SECONDS

    name = "mail"
    tries = 2

    @property
    def place(self) -> str:
        """The server, as messages name it."""
        return f"{self.server}:{self.port}"

    @property
    def secrets(self) -> tuple[Secret | None, ...]:
        """What no message may show: the password, also with its user as RFC 4616 sends both."""
        if self.password is None:
            return ()
        return Secret(f"\0{self.user}\0{self.password.reveal()}"), self.password

    def described(self) -> str:
        """A sentence on it."""
        how = {"starttls": "encrypted (STARTTLS)", "tls": "encrypted (TLS)", "none": "NOT encrypted"}
        user = f", as user {self.user}" if self.user else ""
        return f"mail to {', '.join(self.to)} from {self.sender} by {self.place}, {how[self.security]}{user}"

    def send(self, message: Message) -> str:
        """Give it to the server. Gives its answer in words; Refused where it did not take it."""
        try:
            refused, said = self._sent(as_mail(message, to=self.to, sender=self.sender))
        except Refused:
            raise
        except Exception as error:
            text, again = _fault(error, self.seconds)
            raise Refused(without(f"{self.place} {text}", self.secrets), again=again) from None
        if refused:
            kept = len(self.to) - len(refused)
            text = f"{self.place} took it for {counted(kept, 'address') if kept == 1 else f'{kept} addresses'}, but not for {_refusals(refused)}"
            raise Refused(without(text, self.secrets), again=False)
        return without(f"{self.place} took it: {said}", self.secrets)

    def _sent(self, mail: EmailMessage) -> tuple[dict[str, tuple[int, bytes]], str]:
        context = ssl.create_default_context(cafile=self.ca_file) if self.security != "none" else None
        name = _domain(self.sender)
        if self.security == "tls":
            smtp: _Smtp = _SmtpTls(
                self.server, self.port, local_hostname=name, timeout=self.seconds, context=context
            )
        else:
            smtp = _Smtp(self.server, self.port, local_hostname=name, timeout=self.seconds)
        try:
            if self.security == "starttls":
                smtp.starttls(context=context)  # raises where the server offers none: nothing goes in clear
            if self.user and self.password:
                smtp.login(self.user, self.password.reveal())
            refused = smtp.send_message(
                mail, from_addr=_wire(self.sender), to_addrs=list(map(_wire, self.to))
            )
            with suppress(Exception):  # it is taken already
                smtp.quit()
            return refused, smtp.took
        finally:
            smtp.close()


def as_mail(message: Message, *, to: Sequence[str], sender: str) -> EmailMessage:
    """A message as mail (RFC 5322). Its title is one line already; a header with a line break in it is refused by the library too."""
    mail = EmailMessage()
    mail["From"] = _wire(sender)
    mail["To"] = ", ".join(map(_wire, to))
    mail["Subject"] = message.title
    mail["Date"] = localtime()
    mail["Message-ID"] = make_msgid(domain=_domain(sender))
    mail["Auto-Submitted"] = "auto-generated"  # RFC 3834: no absence notes in answer
    mail.set_content(message.text, charset="utf-8", cte="quoted-printable")
    return mail


class _Smtp(smtplib.SMTP):
    """Keeps what the server said when it took the message."""

    took = ""

    def data(self, msg: object) -> tuple[int, bytes]:
        code, said = super().data(msg)  # type: ignore[arg-type]
        self.took = answer_text(code, said)
        return code, said


class _SmtpTls(_Smtp, smtplib.SMTP_SSL):
    """The same, encrypted from the start."""


def _wire(address: str) -> str:
    """An address with its domain as the network has it (RFC 5890)."""
    return f"{address.rpartition('@')[0]}@{_domain(address)}"


def _domain(address: str) -> str:
    """The domain of an address, which is also the name that we greet with: the library would look one up, and may wait for it."""
    return address.rpartition("@")[2].encode("idna").decode("ascii")


def _fault(error: Exception, seconds: float) -> tuple[str, bool]:
    """Why mail was not taken, and whether it may be at another try."""
    if isinstance(error, smtplib.SMTPAuthenticationError):
        return f"refused the user or the password: {answer_text(error.smtp_code, error.smtp_error)}", False
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return f"takes none of the addresses: {_refusals(error.recipients)}", False
    if isinstance(error, smtplib.SMTPSenderRefused):
        said = answer_text(error.smtp_code, error.smtp_error)
        return f"does not take mail from {error.sender}: {said}", error.smtp_code < 500
    if isinstance(error, smtplib.SMTPNotSupportedError):
        if "STARTTLS" in str(error):
            text = 'does not offer encryption (STARTTLS); nothing was sent. `security = "tls"` may be what it wants'
            return text, False
        return f"cannot do what is needed: {error}", False
    if isinstance(error, smtplib.SMTPResponseException):
        said = answer_text(error.smtp_code, error.smtp_error)
        return f"did not take it: {said}", error.smtp_code < 500
    if isinstance(error, smtplib.SMTPServerDisconnected):
        if isinstance(error.__context__, TimeoutError):
            return why_not(error.__context__, seconds)
        return "ended the connection", True
    if isinstance(error, smtplib.SMTPException):
        return f"did not take it: {type(error).__name__}", False
    return why_not(error, seconds)


def _refusals(refused: dict[str, tuple[int, bytes]]) -> str:
    return "; ".join(f"{address}: {answer_text(*answer)}" for address, answer in refused.items())
