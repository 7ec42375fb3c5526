"""One connection of a viewer: each request checked, then answered with the page, its events, or a file that the night has made."""

from __future__ import annotations

import http.client
import io
import os
from collections.abc import Sequence
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler
from socket import socket
from ssl import SSLContext
from typing import BinaryIO, Protocol, cast
from urllib.parse import quote

from rushlight.batch.live.now_page import START
from rushlight.batch.report.page_templates import policy
from rushlight.batch.serve.http_rules import Target, byte_range, host_is_ours, parse_target, same_token
from rushlight.batch.serve.night_hub import NightHub
from rushlight.batch.serve.nights import Nights
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.inside_folder import open_file

__all__ = ["RequestHandler"]

LINE, HEADERS = 4096, 16384  # bytes of a request's first line, and of all its head
BEAT = 15.0  # seconds after which a viewer who hears nothing is sent a comment
PAGE, EVENTS, STATE = "report/now.html", "report/events", "report/now.json"
REPORT = (".html", ".png", ".jpg", ".csv", ".json")  # kinds of files of the report
KINDS = {
    ".html": "text/html; charset=utf-8",
    ".json": "application/json",
    ".csv": "text/csv; charset=utf-8",
    ".jpg": "image/jpeg",
    ".png": "image/png",
    ".tif": "image/tiff",
    ".exr": "image/x-exr",
    ".mp4": "video/mp4",
    ".mov": "video/quicktime",
    ".mxf": "application/mxf",
}


class _Site(Protocol):
    """The server, as its connections know it."""

    nights: Nights
    token: str
    names: tuple[str, ...]
    tls: SSLContext | None

    @property
    def port(self) -> int: ...

    def owes(self, connection: socket, *, request: bool) -> None: ...


class _Head:
    """A stream of requests, of which each may have only so many bytes."""

    def __init__(self, stream: BinaryIO) -> None:
        self.stream, self.left = stream, HEADERS

    def readline(self, size: int = -1) -> bytes:
        limit = min(size, self.left + 1) if size >= 0 else self.left + 1
        line = self.stream.readline(limit)
        self.left -= len(line)
        if self.left < 0:
            raise http.client.LineTooLong("head of the request")
        return line

    def close(self) -> None:
        self.stream.close()


class RequestHandler(BaseHTTPRequestHandler):
    """The requests of one connection. No method but GET and HEAD, no body, nothing of what was asked in any answer."""

    protocol_version = "HTTP/1.1"

    @property
    def site(self) -> _Site:
        return cast("_Site", self.server)

    # --- one request

    def handle_one_request(self) -> None:
        """Read a request as far as its head, and answer it."""
        self.close_connection = True  # unless it is answered in full
        self.site.owes(self.connection, request=True)
        head = _Head(cast("BinaryIO", self.rfile.stream if isinstance(self.rfile, _Head) else self.rfile))
        self.rfile = cast("io.BufferedReader", head)
        self.requestline, self.command, self.request_version = "", "", "HTTP/1.1"
        try:
            self.raw_requestline = head.readline(LINE + 1)
            if len(self.raw_requestline) > LINE:
                self.send_error(HTTPStatus.REQUEST_URI_TOO_LONG)
            elif self.raw_requestline and self.parse_request():
                self.site.owes(self.connection, request=False)
                self._answer()
        except OSError:  # it is gone, or too slow
            self.close_connection = True

    def _answer(self) -> None:
        refused = self._refusal()
        if refused:
            self.send_error(refused)
            return
        target = parse_target(self.path)
        host = self.headers["Host"]
        local, secure = str(self.connection.getsockname()[0]), self.site.tls is not None
        names = (*self.site.names, local)
        if not host_is_ours((target and target.authority) or host, self.site.port, names, secure=secure):
            self.send_error(HTTPStatus.MISDIRECTED_REQUEST)
            return
        inside = self._let_in(target)
        if inside is None:
            self.send_error(HTTPStatus.UNAUTHORIZED)
            return
        if target is None:
            self.send_error(HTTPStatus.NOT_FOUND)
            return
        nights = self.site.nights
        hub, rest = nights.find(inside)
        if nights.start(inside):
            self._start(target, inside)
        elif hub is None:
            self.send_error(HTTPStatus.NOT_FOUND)
        else:
            self._serve(hub, target, "/".join(rest))

    def _refusal(self) -> HTTPStatus | None:
        """What is wrong with a request as such."""
        if self.command not in ("GET", "HEAD"):
            return HTTPStatus.METHOD_NOT_ALLOWED
        hosts = self.headers.get_all("Host") or []
        if len(hosts) != 1 or self.request_version == "HTTP/0.9":
            return HTTPStatus.BAD_REQUEST
        if self.headers.get("Transfer-Encoding") or self.headers.get("Content-Length", "0").strip() != "0":
            return HTTPStatus.BAD_REQUEST
        return None

    def _let_in(self, target: Target | None) -> tuple[str, ...] | None:
        """The path that stands behind the token, which is its first part or comes as a bearer token (RFC 6750); None for a
        stranger."""
        scheme, _, given = self.headers.get("Authorization", "").partition(" ")
        if scheme.lower() == "bearer" and same_token(given.strip(), self.site.token):
            return target.parts if target else ()
        first = target.parts[0] if target and target.parts else self.path.lstrip("/").partition("/")[0]
        if same_token(first, self.site.token):
            return target.parts[1:] if target else ()
        return None

    def _start(self, target: Target, inside: Sequence[str]) -> None:
        """The page that lists several nights."""
        if inside:
            self._send(HTTPStatus.OK, self.site.nights.page(), kind=KINDS[".html"])
        else:
            self._lead(target, START)

    def _lead(self, target: Target, page: str) -> None:
        """To a page below what was asked for: one that stands for its folder."""
        there = "/".join(quote(os.fsencode(part)) for part in (*target.parts, page))
        self._send(HTTPStatus.SEE_OTHER, b"", location=f"/{there}")

    def _serve(self, hub: NightHub, target: Target, path: str) -> None:
        if path == "":
            self._lead(target, PAGE)
        elif path == PAGE:
            self._send(HTTPStatus.OK, hub.page(), kind=KINDS[".html"])
        elif path == STATE:
            self._send(HTTPStatus.OK, hub.document(), kind=KINDS[".json"])
        elif path == EVENTS:
            self._events(hub, self.headers.get("Last-Event-ID") or target.asked("since"))
        elif hub.serves(path) or (path.startswith("report/") and path.endswith(REPORT)):
            self._file(hub, path)
        else:
            self.send_error(HTTPStatus.NOT_FOUND)

    # --- answers

    def _events(self, hub: NightHub, since: str) -> None:
        """Server-sent events (WHATWG HTML, 9.2) until the viewer goes."""
        self.close_connection = True  # it has no length
        self._head(HTTPStatus.OK, kind="text/event-stream", length=None)
        if self.command == "HEAD":
            return
        version, told = hub.since(since) if since else (0, b"")
        self.wfile.write(b"retry: 3000\n\n" + told)
        while hub.open:
            version, told = hub.wait(version, BEAT)
            if hub.open:
                self.wfile.write(told or b":\n\n")

    def _file(self, hub: NightHub, path: str) -> None:
        try:
            stream = open_file(hub.out, path)
        except (OSError, RushlightError):
            self.send_error(HTTPStatus.NOT_FOUND)
            return
        with stream:
            self._stream(stream, KINDS.get(os.path.splitext(path)[1].lower(), "application/octet-stream"))

    def _stream(self, stream: BinaryIO, kind: str) -> None:
        info = os.fstat(stream.fileno())
        tag = f'"{info.st_ino:x}-{info.st_size:x}-{info.st_mtime_ns:x}"'
        if tag in (text.strip() for text in self.headers.get("If-None-Match", "").split(",")):
            self._head(HTTPStatus.NOT_MODIFIED, kind=kind, length=None, tag=tag)
            return
        asked = self.headers.get("Range", "")
        if self.headers.get("If-Range", tag) != tag:
            asked = ""
        try:
            part = byte_range(asked, info.st_size)
        except ValueError:
            self._send(
                HTTPStatus.REQUESTED_RANGE_NOT_SATISFIABLE, b"", content_range=f"bytes */{info.st_size}"
            )
            return
        first, last = part or (0, info.st_size - 1)
        self._head(
            HTTPStatus.PARTIAL_CONTENT if part else HTTPStatus.OK,
            kind=kind,
            length=last - first + 1,
            tag=tag,
            content_range=f"bytes {first}-{last}/{info.st_size}" if part else "",
        )
        count = last - first + 1
        if self.command == "GET" and count and self.connection.sendfile(stream, first, count) != count:
            self.close_connection = True  # the file has become shorter meanwhile

    def _send(self, status: HTTPStatus, data: bytes, *, kind: str = "text/plain", **more: str) -> None:
        self._head(status, kind=kind, length=len(data), **more)
        if self.command != "HEAD":
            self.wfile.write(data)

    def _head(
        self,
        status: HTTPStatus,
        *,
        kind: str,
        length: int | None,
        tag: str = "",
        content_range: str = "",
        location: str = "",
    ) -> None:
        """The head of an answer. Without a length it has no end but the connection's, or no body."""
        headers = {
            "Content-Type": kind,
            "Content-Length": "" if length is None else str(length),
            "Connection": "close" if self.close_connection else "",
            "ETag": tag,
            "Accept-Ranges": "bytes" if tag else "",
            "Cache-Control": "private, no-cache" if tag else "no-store",
            "Content-Range": content_range,
            "Location": location,
            "Content-Security-Policy": f"{policy()}; frame-ancestors 'none'"
            if kind == KINDS[".html"]
            else "",
            "X-Content-Type-Options": "nosniff",
            "Referrer-Policy": "no-referrer",
            "Cross-Origin-Resource-Policy": "same-origin",
        }
        self.send_response(status)
        for name, value in headers.items():
            if value:
                self.send_header(name, value)
        self.end_headers()

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        """An answer that says no, and nothing of what was asked; the connection ends with it."""
        status = HTTPStatus(code)
        data = f"{status.value} {status.phrase}\n".encode()
        self.close_connection = True
        self.request_version = "HTTP/1.1"  # whatever its line said: an answer has a head
        self.send_response(status)
        self.send_header("Content-Type", "text/plain; charset=utf-8")
        self.send_header("Content-Length", str(len(data)))
        self.send_header("Connection", "close")
        self.send_header("Cache-Control", "no-store")
        self.send_header("X-Content-Type-Options", "nosniff")
        if status == HTTPStatus.METHOD_NOT_ALLOWED:
            self.send_header("Allow", "GET, HEAD")
        if status == HTTPStatus.UNAUTHORIZED:
            self.send_header("WWW-Authenticate", 'Bearer realm="rushlight"')
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(data)

    def version_string(self) -> str:
        return "rushlight"

    def log_message(self, format: str, *args: object) -> None:
        """Nothing is noted of who looks at what."""
