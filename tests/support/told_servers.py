"""A mail server and a web server on this machine that keep what they were sent, and misbehave when asked to."""

from __future__ import annotations

import base64
import contextlib
import email
import email.policy
import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from email.message import EmailMessage
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from machines import Papers

KEY = base64.b64encode(b"a key of thirty-two bytes length").decode()
DAY = """
production = "Der Löschzug"
day = "12"
list = "day.csv"
media = ["."]
recipes = ["two.toml"]
out = "out"
[tell]
mail = "dit@example.com"
sender = "cart@example.com"
server = "127.0.0.1"
port = {port}
security = "none"
"""


@dataclass
class MailServer:
    """The least of RFC 5321 and 3207 that a client needs. `answers`: a reply in place of the usual one, by the command."""

    port: int = 0
    papers: Papers | None = None
    tls: bool = False  # from the start, not by STARTTLS
    silent: bool = False  # takes connections and says nothing
    trickles: bool = False  # one character of a greeting that never ends at a time
    user: tuple[str, str] | None = None
    answers: dict[str, str] = field(default_factory=dict)
    mails: list[EmailMessage] = field(default_factory=list)
    raw: list[bytes] = field(default_factory=list)
    said: list[str] = field(default_factory=list)  # every line of every client
    over: threading.Event = field(default_factory=threading.Event)

    def serve(self, link: socket.socket) -> None:
        if self.silent:
            self.over.wait(60)
            return
        if self.trickles:
            while not self.over.wait(0.05):
                link.sendall(b"2")
            return
        context = None
        if self.papers:
            context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            context.load_cert_chain(self.papers.cert, self.papers.key)
            if self.tls:
                link = context.wrap_socket(link, server_side=True)
        with link:
            self.talk(link, context)

    def talk(self, link: socket.socket, context: ssl.SSLContext | None) -> None:
        stream = link.makefile("rb")

        def say(text: str) -> None:
            link.sendall(text.encode() + b"\r\n")

        if greeting := self.answers.get("", "220 mail.example ready"):
            say(greeting)
        while line := stream.readline():
            words = line.decode("utf-8", "replace").strip()
            verb = words.split(" ")[0].upper()
            self.said.append(verb + words[len(verb) :])
            if reply := self.answers.get(verb):
                say(reply)
            elif verb == "EHLO":
                extras = ["AUTH PLAIN", "8BITMIME", "SMTPUTF8"]
                extras += ["STARTTLS"] if context and not isinstance(link, ssl.SSLSocket) else []
                for extra in ["mail.example", *extras[:-1]]:
                    say(f"250-{extra}")
                say(f"250 {extras[-1]}")
            elif verb == "STARTTLS" and context:
                say("220 go ahead")
                stream.close()
                with context.wrap_socket(link, server_side=True) as safe:
                    self.answers = {k: v for k, v in self.answers.items() if k} | {"": ""}
                    self.talk(safe, context)
                return
            elif verb == "AUTH":
                given = base64.b64decode(words.split(" ")[-1]).decode().split("\0")[1:]
                good = self.user is not None and tuple(given) == self.user
                say("235 welcome" if good else f"535 no such user; you sent {words.split(' ')[-1]}")
            elif verb in ("MAIL", "RCPT", "RSET", "NOOP"):
                say("250 fine")
            elif verb == "DATA":
                say("354 go ahead")
                data = b""
                while (part := stream.readline()) and part != b".\r\n":
                    data += part.removeprefix(b".") if part.startswith(b"..") else part
                self.raw.append(data)
                self.mails.append(email.message_from_bytes(data, policy=email.policy.default))  # type: ignore[arg-type]
                say(self.answers.get("MESSAGE", "250 kept as 4711"))
            elif verb == "QUIT":
                say("221 bye")
                return
            else:
                say("502 what?")


@contextlib.contextmanager
def mail_server(**options: Any) -> Iterator[MailServer]:
    """A mail server while the block runs."""
    server = MailServer(**options)
    listener = socket.create_server(("127.0.0.1", 0))
    server.port = listener.getsockname()[1]
    links: list[socket.socket] = []

    def talk(link: socket.socket) -> None:
        with contextlib.suppress(OSError, ValueError), link:
            server.serve(link)

    def accept() -> None:
        while True:
            try:
                link = listener.accept()[0]
            except OSError:
                return
            links.append(link)
            threading.Thread(target=talk, args=(link,), daemon=True).start()

    thread = threading.Thread(target=accept, daemon=True)
    thread.start()
    try:
        yield server
    finally:
        server.over.set()
        with contextlib.suppress(OSError):
            listener.shutdown(socket.SHUT_RDWR)
        listener.close()
        for link in links:
            link.close()
        thread.join(5)


@dataclass
class WebServer:
    """Keeps every request: path, headers, body. `status`: what it answers to the n-th."""

    port: int = 0
    status: Callable[[int], int] = lambda number: 204
    location: str = ""
    silent: bool = False
    requests: list[tuple[str, str, dict[str, str], bytes]] = field(default_factory=list)
    over: threading.Event = field(default_factory=threading.Event)


@contextlib.contextmanager
def web_server(*, papers: Papers | None = None, **options: Any) -> Iterator[WebServer]:
    """A web server while the block runs."""
    kept = WebServer(**options)

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            kept.requests.append((self.command, self.path, dict(self.headers), body))
            if kept.silent:
                kept.over.wait(60)
                return
            self.send_response(kept.status(len(kept.requests)))
            if kept.location:
                self.send_header("Location", kept.location)
            self.send_header("Content-Length", "0")
            self.end_headers()

        do_GET = do_POST

        def log_message(self, *_: object) -> None:
            pass

    class Quiet(ThreadingHTTPServer):
        daemon_threads = True

        def handle_error(self, *_: object) -> None:  # a client that went away
            pass

    server = Quiet(("127.0.0.1", 0), Handler)
    kept.port = server.server_address[1]
    if papers:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(papers.cert, papers.key)
        server.socket = context.wrap_socket(server.socket, server_side=True)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    try:
        yield kept
    finally:
        kept.over.set()
        server.shutdown()
        server.server_close()
        thread.join(5)


def secret_file(path: Path, text: str, mode: int = 0o600) -> Path:
    """A file with a secret."""
    path.write_text(text + "\n")
    path.chmod(mode)
    return path
