"""The server as a whole: events to many viewers, those who are slow or too many, encryption, and its end."""

import datetime
import ipaddress
import socket
import ssl
import threading
import time
from contextlib import suppress
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from rushlight.batch.serve import night_hub, night_server, request_handler
from rushlight.batch.serve.night_hub import NightHub
from rushlight.batch.serve.night_server import NightServer
from rushlight.batch.serve.nights import Nights
from rushlight.batch.serve.serve_address import certificate
from rushlight.pipelines.errors import OptionError
from viewer import TOKEN, Served, night_in, served, status_of


def follow(site: Served, since: str = "", last: str = "") -> socket.socket:
    """A connection that has asked for events."""
    connection = site.open()
    host = f"Host: 127.0.0.1:{site.server.port}\r\n"
    seen = f"Last-Event-ID: {last}\r\n" if last else ""
    connection.sendall(f"GET /{TOKEN}/report/events?since={since} HTTP/1.1\r\n{host}{seen}\r\n".encode())
    return connection


def until(connection: socket.socket, wanted: bytes) -> bytes:
    """What comes, as far as that is in it."""
    found = b""
    while wanted not in found:
        piece = connection.recv(65536)
        assert piece, found[-500:]
        found += piece
    return found


def test_events_from_the_pages_number_and_from_the_last_that_came(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(night_hub, "LOOK", 0.02)
    night_in(tmp_path)
    with served(tmp_path) as site:
        first = site.hub.number
        with follow(site, first) as viewer:
            head = until(viewer, b"retry: 3000\n\n")
            assert (
                b"Content-Type: text/event-stream" in head and b"no-store" in head and b"event:" not in head
            )
            night_in(tmp_path, 3)
            assert b"event: clip" in until(viewer, b"event: now")
        with follow(site, "unknown", first) as viewer:  # as a browser connects again
            assert b"clip-A2" in until(viewer, b"event: now")
        with follow(site, "unknown") as viewer:
            until(viewer, b"event: again")


def test_a_viewer_who_hears_nothing_is_sent_a_comment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(request_handler, "BEAT", 0.05)
    night_in(tmp_path)
    with served(tmp_path) as site, follow(site, site.hub.number) as viewer:
        until(viewer, b"\n\n:\n\n")


def test_two_hundred_viewers_hear_of_a_clip(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(night_hub, "LOOK", 0.02)
    night_in(tmp_path)
    with served(tmp_path) as site:
        viewers = [follow(site, site.hub.number) for _ in range(200)]
        try:
            for viewer in viewers:
                until(viewer, b"retry: 3000\n\n")
            assert site.ask("/report/now.html").status == 200
            night_in(tmp_path, 3)
            for viewer in viewers:
                until(viewer, b"event: now")
        finally:
            for viewer in viewers:
                viewer.close()


def test_a_request_that_trickles_in_is_cut_and_holds_nobody_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(night_server, "HEAD", 0.5)
    night_in(tmp_path)
    with served(tmp_path) as site:
        slow = [site.open(30) for _ in range(20)]
        cut, start = 0, time.monotonic()
        for connection in slow:
            connection.sendall(f"GET /{TOKEN}/report/now.html HTTP/1.1\r\nX: ".encode())
        assert site.ask("/report/now.json").status == 200
        while cut < len(slow) and time.monotonic() - start < 30:
            time.sleep(0.1)
            cut = 0
            for connection in slow:
                try:
                    connection.sendall(b"y")  # each piece would start a mere time-out anew
                    connection.setblocking(False)
                    cut += connection.recv(1) == b""
                except BlockingIOError:
                    pass
                except OSError:
                    cut += 1
                finally:
                    connection.setblocking(True)
        assert cut == len(slow)
        for connection in slow:
            connection.close()
        with follow(site, site.hub.number) as viewer:  # who is answered already may stay as long as he likes
            until(viewer, b"retry: 3000\n\n")
            time.sleep(1.8)
            night_in(tmp_path, 3)
            until(viewer, b"event: now")


def test_too_many_connections_are_refused_and_room_comes_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(night_server, "EACH", 5)
    night_in(tmp_path)
    with served(tmp_path) as site:
        viewers = [follow(site, site.hub.number) for _ in range(5)]
        for viewer in viewers:
            until(viewer, b"retry: 3000\n\n")
        with site.open() as another:
            assert status_of(another.recv(1000)) == 503
        monkeypatch.setattr(request_handler, "BEAT", 0.05)
        for viewer in viewers:
            viewer.close()
        night_in(tmp_path, 3)  # the server finds out as it tells them
        start = time.monotonic()
        while site.server._open and time.monotonic() - start < 60:
            time.sleep(0.05)
        assert site.ask("/report/now.json").status == 200


def test_its_end_lets_everybody_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(night_server, "HEAD", 1000)  # none is cut for being slow
    night_in(tmp_path)
    with served(tmp_path) as site:
        viewer, idle = follow(site, site.hub.number), site.open()
        until(viewer, b"retry: 3000\n\n")
        start = time.monotonic()
        while len(site.server._open) < 2 and time.monotonic() - start < 60:
            time.sleep(0.01)
        at_the_door = site.open()  # it may not have been taken yet, and is then told by a reset
    for connection in (viewer, idle):
        with connection:
            while connection.recv(1000):
                pass
    with at_the_door, suppress(ConnectionResetError):
        assert at_the_door.recv(1000) == b""
    with pytest.raises(OSError):
        site.open(1)


def test_a_port_that_is_taken_is_said(tmp_path: Path) -> None:
    with (
        served(tmp_path) as site,
        pytest.raises(OptionError, match=rf"--port {site.server.port}: .*a free one is taken"),
    ):
        NightServer(Nights([NightHub(tmp_path)]), ("127.0.0.1", site.server.port), TOKEN, ())


def own_certificate(folder: Path) -> tuple[Path, Path]:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "cart")])
    now = datetime.datetime.now(datetime.UTC)
    made = (
        x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key())
        .serial_number(1).not_valid_before(now - datetime.timedelta(days=1)).not_valid_after(now + datetime.timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]), critical=False)
        .sign(key, hashes.SHA256())
    )  # fmt: skip
    cert, private = folder / "cart.pem", folder / "cart.key"
    cert.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    private.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
    )
    return cert, private


def test_with_a_certificate_it_is_encrypted_and_nobody_holds_it_up(tmp_path: Path) -> None:
    cert, key = own_certificate(tmp_path)
    (tmp_path / "out").mkdir()
    night_in(tmp_path / "out")
    with served(tmp_path / "out", tls=certificate(cert, key)) as site:
        mute = site.open()  # no handshake comes from it
        plain = site.raw(f"GET /{TOKEN}/report/now.json HTTP/1.1\r\n\r\n".encode())
        assert b"Lamp" not in plain
        context = ssl.create_default_context(cafile=str(cert))
        with context.wrap_socket(site.open(), server_hostname="127.0.0.1") as viewer:
            host = f"Host: 127.0.0.1:{site.server.port}\r\nConnection: close\r\nRange: bytes=0-9\r\n\r\n"
            viewer.sendall(f"GET /{TOKEN}/viewing/A1.mp4 HTTP/1.1\r\n{host}".encode())
            found = b""
            while piece := viewer.recv(65536):
                found += piece
        assert status_of(found) == 206 and found.endswith(bytes(range(10)))
        mute.close()


def test_threads_are_given_back(tmp_path: Path) -> None:
    night_in(tmp_path)
    before = threading.active_count()
    with served(tmp_path) as site:
        for _ in range(30):
            assert site.ask("/report/now.json").status == 200
        assert threading.active_count() <= before + 6
