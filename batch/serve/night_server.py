"""The server of the live page: read-only, for who has the token, and only what its nights have made.

Of the standard library, a thread a connection: 200 viewers are few. Everything that a stranger can send is bounded: the length of
a request, the time it takes, the connections of one address and of all.
"""

from __future__ import annotations

import socket
import ssl
import threading
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from http.server import ThreadingHTTPServer

from rushlight.batch.serve.nights import Nights
from rushlight.batch.serve.request_handler import RequestHandler
from rushlight.pipelines.errors import OptionError, from_os

__all__ = ["NightServer"]

MOST, EACH = 600, 300  # connections of all, and of one address
HEAD = 10.0  # seconds that a request may take to arrive, or a connection may idle


class NightServer(ThreadingHTTPServer):
    """Serves output folders until `close`. OptionError naming the port where it cannot be had."""

    daemon_threads = True
    block_on_close = False
    request_queue_size = 128

    def __init__(
        self,
        nights: Nights,
        address: tuple[str, int],
        token: str,
        names: tuple[str, ...],
        tls: ssl.SSLContext | None = None,
        on_fault: Callable[[Exception], object] = lambda error: None,
    ) -> None:
        self.nights, self.token, self.names, self.tls, self.on_fault = nights, token, names, tls, on_fault
        self._open: dict[
            socket.socket, tuple[str, float]
        ] = {}  # with its address, and since when it owes a request
        self._lock = threading.Lock()
        try:
            super().__init__(address, RequestHandler)
        except (OSError, OverflowError) as error:
            why = from_os(error, "").text if isinstance(error, OSError) else "is no port"
            raise OptionError(f"--port {address[1]}: {why}; without --port a free one is taken") from None

    @property
    def port(self) -> int:
        return int(self.server_address[1])

    def run(self) -> None:
        """Serve until `close`, with the threads that it takes."""
        self.nights.keep_looking()
        for work, name in ((self._keep_time, "time"), (self._serve, "accept")):
            threading.Thread(target=work, name=name, daemon=True).start()

    def _serve(self) -> None:
        self.serve_forever(poll_interval=0.5)

    def close(self) -> None:
        """Take no more, and let everybody go."""
        self.nights.close()
        self.shutdown()
        self.server_close()
        with self._lock:
            left = list(self._open)
        for connection in left:
            _cut(connection)

    # --- connections, each on a thread of its own

    def get_request(self) -> tuple[socket.socket, tuple[str, int]]:
        connection, address = super().get_request()
        connection.settimeout(HEAD)
        if self.tls:  # the handshake comes with the first read, on the connection's own thread
            connection = self.tls.wrap_socket(connection, server_side=True, do_handshake_on_connect=False)
        return connection, address

    def verify_request(self, request: object, client_address: object) -> bool:
        """False where there are too many connections; that is said, as far as nobody has to wait for it."""
        assert isinstance(request, socket.socket) and isinstance(client_address, tuple)
        with self._lock:
            counts = Counter(address for address, _ in self._open.values())
            if counts.total() < MOST and counts[client_address[0]] < EACH:
                self._open[request] = client_address[0], time.monotonic()
                return True
        if not self.tls:
            with suppress(OSError):
                request.setblocking(False)
                request.send(
                    b"HTTP/1.1 503 Too many viewers\r\nRetry-After: 15\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"
                )
        return False

    def shutdown_request(self, request: object) -> None:
        assert isinstance(request, socket.socket)
        with self._lock:
            self._open.pop(request, None)
        _cut(request)
        with suppress(OSError):
            request.close()

    def owes(self, connection: socket.socket, *, request: bool) -> None:
        """A connection waits for its next request from now on; or it has come, and is answered."""
        with self._lock:
            if connection in self._open:
                self._open[connection] = (
                    self._open[connection][0],
                    time.monotonic() if request else float("inf"),
                )

    def _keep_time(self) -> None:
        """Cut connections whose request does not arrive, however busily they send pieces of it."""
        while self.nights.open:
            time.sleep(1.0)
            before = time.monotonic() - HEAD
            with self._lock:
                late = [connection for connection, (_, since) in self._open.items() if since < before]
            for connection in late:
                _cut(connection)

    def handle_error(self, request: object, client_address: object) -> None:
        """Who goes away in the middle is nobody's fault; anything else is told."""
        import sys

        error = sys.exc_info()[1]
        if isinstance(error, Exception) and not isinstance(error, OSError):
            self.on_fault(error)


def _cut(connection: socket.socket) -> None:
    with suppress(OSError):
        socket.socket.shutdown(
            connection, socket.SHUT_RDWR
        )  # an SSLSocket's own would wait for the other side
