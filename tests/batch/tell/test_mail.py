"""Mail to a real server on this machine: what arrives, and what is said where it does not."""

from __future__ import annotations

import base64
import time
from email.utils import parsedate_to_datetime
from pathlib import Path

import pytest

from machines import authority
from rushlight.batch.tell.mail import Mail, as_mail
from rushlight.batch.tell.message import Message, trial_message
from rushlight.batch.tell.secrets_kept import Secret
from rushlight.batch.tell.sending import Answer, deliver
from told_servers import MailServer, mail_server

NOW = "2026-11-27T04:10:00+01:00"


def message(title: str = "The Lamp Room, day 12") -> Message:
    return trial_message(title=title, host="cart", time=NOW)


def mail(server: MailServer, **options: object) -> Mail:
    given: dict[str, object] = {"to": ["dit@example.com"], "sender": "cart@example.com", "security": "none"}
    return Mail(server="127.0.0.1", port=server.port, **(given | options))  # type: ignore[arg-type]


def sent(channel: Mail, said: Message | None = None, within: float = 20.0) -> Answer:
    return deliver(channel, said or message(), wait=lambda seconds: None, within=within)


def test_it_arrives_over_starttls_with_the_headers_of_rfc_5322(tmp_path: Path) -> None:
    papers = authority(tmp_path / "ca", "mail")["mail"]
    with mail_server(papers=papers, user=("cart", "geheim")) as server:
        channel = mail(server, security="starttls", user="cart", password=Secret("geheim"), ca_file=papers.ca)
        answer = sent(channel, message("Der Löschzug 夜, day 12"))
    assert answer.taken and "250 kept as 4711" in answer.text
    (got,) = server.mails
    assert got["Subject"] == "Der Löschzug 夜, day 12: test"
    assert got["To"] == "dit@example.com" and got["From"] == "cart@example.com"
    assert abs(parsedate_to_datetime(got["Date"]).timestamp() - time.time()) < 60
    assert got["Message-ID"].endswith("@example.com>") and got["Auto-Submitted"] == "auto-generated"
    assert got.get_content_type() == "text/plain" and "Der Löschzug 夜" in got.get_content()
    assert server.raw[0].isascii()
    assert server.said.index("STARTTLS") < next(k for k, s in enumerate(server.said) if s.startswith("AUTH"))


def test_it_arrives_over_tls_from_the_start(tmp_path: Path) -> None:
    papers = authority(tmp_path / "ca", "mail")["mail"]
    with mail_server(papers=papers, tls=True) as server:
        assert sent(mail(server, security="tls", ca_file=papers.ca)).taken
    assert len(server.mails) == 1


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_a_certificate_of_a_stranger_is_refused_and_nothing_is_sent(tmp_path: Path, security: str) -> None:
    papers = authority(tmp_path / "ca", "mail")["mail"]
    other = authority(tmp_path / "other", "mail")["mail"]
    with mail_server(papers=papers, tls=security == "tls", user=("cart", "geheim")) as server:
        channel = mail(server, security=security, user="cart", password=Secret("geheim"), ca_file=other.ca)
        answer = sent(channel)
    assert not answer.taken and "certificate that does not hold" in answer.text
    assert not server.mails and not any(line.startswith(("AUTH", "MAIL")) for line in server.said)


def test_a_server_without_encryption_gets_nothing() -> None:
    with mail_server(user=("cart", "geheim")) as server:
        answer = sent(mail(server, security="starttls", user="cart", password=Secret("geheim")))
    assert not answer.taken and "does not offer encryption" in answer.text
    assert not any(line.startswith(("AUTH", "MAIL")) for line in server.said)


def test_a_wrong_password_is_said_and_not_shown_though_the_server_repeats_it(tmp_path: Path) -> None:
    papers = authority(tmp_path / "ca", "mail")["mail"]
    with mail_server(papers=papers, user=("cart1", "right")) as server:
        channel = mail(
            server, security="starttls", user="cart1", password=Secret("wr0ng-s3cret"), ca_file=papers.ca
        )
        answer = sent(channel)
    assert not answer.taken and "refused the user or the password: 535" in answer.text
    assert "wr0ng-s3cret" not in answer.text
    coded = base64.b64encode(b"\0cart1\0wr0ng-s3cret").decode()
    assert coded not in answer.text, "the answer repeats what was sent"


@pytest.mark.parametrize(
    ("answers", "words"),
    [
        ({"": "554 go away"}, "did not take it: 554 go away"),
        ({"MAIL": "550 not you"}, "does not take mail from cart@example.com: 550 not you"),
        ({"RCPT": "550 unknown"}, "takes none of the addresses: dit@example.com: 550 unknown"),
        ({"MESSAGE": "552 too much"}, "did not take it: 552 too much"),
        ({"RCPT": "550 \x1b[2J\u202eevil"}, "\\x1b[2J\\u202eevil"),
    ],
)
def test_a_refusal_is_said_in_the_servers_words(answers: dict[str, str], words: str) -> None:
    with mail_server(answers=answers) as server:
        answer = sent(mail(server))
    assert not answer.taken and words in answer.text and answer.text.startswith(f"127.0.0.1:{server.port}")


def test_it_is_tried_again_where_that_may_help() -> None:
    with mail_server(answers={"MAIL": "451 later"}) as server:
        answer = sent(mail(server))
    assert "(2 tries)" in answer.text and sum(s.startswith("MAIL") for s in server.said) == 2


def test_a_server_that_says_nothing_is_given_up() -> None:
    with mail_server(silent=True) as server:
        answer = sent(mail(server, seconds=0.2))
    assert not answer.taken and "did not answer within" in answer.text


def test_a_server_that_trickles_is_given_up_as_a_whole() -> None:
    with mail_server(trickles=True) as server:
        answer = sent(mail(server), within=0.5)
    assert not answer.taken and "was not done after" in answer.text


def test_a_server_that_is_not_there_is_said() -> None:
    with mail_server() as server:
        pass
    answer = sent(mail(server))
    assert not answer.taken and "nothing listens there" in answer.text


def test_some_addresses_refused_are_named() -> None:
    with mail_server() as server:
        server.answers = _Once({"RCPT": ["250 fine", "550 unknown"]})
        answer = sent(mail(server, to=["a@example.com", "b@example.com"]))
    assert not answer.taken and "took it for 1 address, but not for b@example.com: 550 unknown" in answer.text
    assert len(server.mails) == 1


class _Once(dict[str, str]):
    """Answers of which each is given once."""

    def __init__(self, lists: dict[str, list[str]]) -> None:
        super().__init__()
        self.lists = lists

    def get(self, key: str, default: str = "") -> str:  # type: ignore[override]
        return self.lists[key].pop(0) if self.lists.get(key) else default


@pytest.mark.parametrize(
    "evil", ["A\r\nBcc: all@example.com", "A\nBcc: x@example.com", "A\r\n\r\nbody", "A\x00\x0b\x85\u2028B: c"]
)
def test_no_title_puts_a_header_in(evil: str) -> None:
    with mail_server() as server:
        assert sent(mail(server), message(evil)).taken
    (got,) = server.mails
    assert got["Bcc"] is None and got["B"] is None
    names = {"from", "to", "subject", "date", "message-id", "auto-submitted", "mime-version"}
    assert {n.lower() for n in got} == names | {"content-type", "content-transfer-encoding"}
    assert "\\n" in got["Subject"] or "\\x" in got["Subject"]


def test_addresses_in_other_scripts_arrive() -> None:
    with mail_server() as server:
        answer = sent(
            mail(server, to=["müller@example.com", "dit@löschzug.example"], sender="cart@löschzug.example")
        )
    assert answer.taken, answer.text
    assert "RCPT TO:<dit@xn--lschzug-90a.example>" in server.said
    assert (
        any("müller@example.com" in line for line in server.said)
        and b"m\xc3\xbcller@example.com" in server.raw[0]
    )


def test_an_address_with_a_line_break_never_becomes_a_header() -> None:
    with pytest.raises(ValueError):
        as_mail(message(), to=["a@example.com\r\nBcc: b@example.com"], sender="c@example.com")
