"""Requests of viewers and of strangers: what is served, in which pieces, and what is refused."""

import json
import os
from collections.abc import Iterator

import pytest

from browsers import stopped
from rushlight.batch.records.night_state import NightState
from rushlight.batch.report.page_templates import policy
from viewer import MOVIE, TOKEN, Served, night_in, served, status_of


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("night")
    out = folder / "out"
    out.mkdir()
    night_in(out)
    for name in (
        "log/jobs.jsonl",
        ".work/queue.sqlite",
        "report/.hidden.html",
        "viewing/other.mp4",
        "ascmhl/0001.mhl",
    ):
        (out / name).parent.mkdir(exist_ok=True)
        (out / name).write_text("")
    (out / "report" / "index.html").write_text("<p>the report")
    (out / "report" / "batch.csv").write_text("clip\n")
    (folder / "secret.html").write_text("secret")
    (out / "report" / "out.html").symlink_to(folder / "secret.html")
    os.mkfifo(out / "report" / "pipe.html")
    with served(out) as running:
        yield running


def test_the_page_the_state_and_the_report(site: Served) -> None:
    page = site.ask("/report/now.html")
    assert (page.status, page.headers["content-type"]) == (200, "text/html; charset=utf-8")
    assert page.headers["content-security-policy"] == policy() + "; frame-ancestors 'none'"
    assert page.headers["cache-control"] == "no-store" and page.headers["referrer-policy"] == "no-referrer"
    assert (
        page.headers["x-content-type-options"] == "nosniff"
        and "access-control-allow-origin" not in page.headers
    )
    assert page.headers["server"] == "rushlight"
    text = page.body.decode()
    assert (
        'src="pictures/A1-small.jpg"' in text
        and 'href="../viewing/A1.mp4"' in text
        and "data:image" not in text
    )
    assert stopped(text) == [] and TOKEN not in text
    assert NightState.read(json.loads(site.ask("/report/now.json").body)).title == "The Lamp Room, day 12"
    assert site.ask("/report/index.html").body == b"<p>the report"
    assert site.ask("/report/batch.csv").headers["content-type"].startswith("text/csv")
    for path in ("", "/"):
        answer = site.ask(path)
        assert (answer.status, answer.headers["location"]) == (303, f"/{TOKEN}/report/now.html")


def test_head_has_no_body(site: Served) -> None:
    for path in ("/report/now.html", "/viewing/A1.mp4", "/report/events", "/nothing"):
        whole, head = site.ask(path, "HEAD"), site.ask(path, "HEAD")
        assert whole.body == b"" and whole.status == head.status
    assert site.ask("/viewing/A1.mp4", "HEAD").headers["content-length"] == str(len(MOVIE))


def test_a_movie_in_pieces(site: Served) -> None:
    whole = site.ask("/viewing/A1.mp4")
    assert (whole.status, whole.body, whole.headers["content-type"]) == (200, MOVIE, "video/mp4")
    assert whole.headers["accept-ranges"] == "bytes" and whole.headers["cache-control"] == "private, no-cache"
    size = len(MOVIE)
    for text, first, last in (
        ("bytes=0-0", 0, 0),
        ("bytes=100-", 100, size - 1),
        ("bytes=-7", size - 7, size - 1),
    ):
        part = site.ask("/viewing/A1.mp4", Range=text)
        assert (part.status, part.body) == (206, MOVIE[first : last + 1])
        assert part.headers["content-range"] == f"bytes {first}-{last}/{size}"
    past = site.ask("/viewing/A1.mp4", Range=f"bytes={size}-")
    assert (past.status, past.headers["content-range"], past.body) == (416, f"bytes */{size}", b"")
    assert site.ask("/viewing/A1.mp4", Range="bytes=0-1,5-6").status == 200


def test_what_a_viewer_has_is_not_sent_again(site: Served) -> None:
    tag = site.ask("/viewing/A1.mp4").headers["etag"]
    again = site.ask("/viewing/A1.mp4", If_None_Match=f'"other", {tag}')
    assert (again.status, again.body) == (304, b"")
    assert site.ask("/viewing/A1.mp4", Range="bytes=0-1", If_Range=tag).status == 206
    assert site.ask("/viewing/A1.mp4", Range="bytes=0-1", If_Range='"other"').body == MOVIE


@pytest.mark.parametrize(
    "path",
    ["/", f"/{TOKEN[:-1]}/report/now.html", "/report/now.html", "/favicon.ico", "/x/../y", f"/{TOKEN}x/"],
)
def test_a_stranger_without_the_token(path: str, site: Served) -> None:
    answer = site.ask(path, token=False)
    assert (answer.status, answer.headers["www-authenticate"]) == (401, 'Bearer realm="rushlight"')
    assert answer.body == b"401 Unauthorized\n"


def test_a_token_may_come_as_a_header(site: Served) -> None:
    assert site.ask("/report/now.json", token=False, Authorization=f"Bearer {TOKEN}").status == 200
    assert (
        site.ask("/", token=False, Authorization=f"bearer {TOKEN}").headers["location"] == "/report/now.html"
    )
    for wrong in (f"Basic {TOKEN}", "Bearer x", "Bearer", "Bearer \xe9"):
        assert site.ask("/report/now.json", token=False, Authorization=wrong).status == 401


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", "127.0.0.1:1", "localhost.evil.example:{port}", ""]
)
def test_a_host_that_is_not_ours(host: str, site: Served) -> None:
    answer = site.ask("/report/now.html", Host=host.format(port=site.server.port))
    assert answer.status == 421 and b"Lamp" not in answer.body


def test_an_absolute_address(site: Served) -> None:
    ours, head = (
        f"127.0.0.1:{site.server.port}",
        f"Host: 127.0.0.1:{site.server.port}\r\nConnection: close\r\n\r\n",
    )
    for authority, status in ((ours, 200), ("evil.example", 421), (f"x@{ours}", 421)):
        request = f"GET http://{authority}/{TOKEN}/report/now.json HTTP/1.1\r\n{head}"
        assert status_of(site.raw(request.encode())) == status
    assert (
        status_of(site.raw(f"GET //evil.example/{TOKEN}/report/now.json HTTP/1.1\r\n{head}".encode())) == 401
    )


@pytest.mark.parametrize(
    "method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "get", "X" * 500]
)
def test_nothing_but_get_and_head(method: str, site: Served) -> None:
    answer = site.ask("/report/now.html", method)
    assert (answer.status, answer.headers["allow"]) == (405, "GET, HEAD")


@pytest.mark.parametrize(
    "path",
    [
        "/log/jobs.jsonl", "/.work/queue.sqlite", "/report/.hidden.html", "/viewing/other.mp4", "/ascmhl/0001.mhl", "/viewing", "/viewing/",
        "/report/out.html", "/report/pipe.html", "/report/pictures", "/report", "/secret.html", "/../secret.html", "/%2e%2e/secret.html",
        "/report/..%2f..%2fsecret.html", "/report/%2e%2e/%2e%2e/secret.html", "/report/now.html/../../../secret.html", "/report/now.html%00",
        "/report//now.html", "/report/none.html", "/viewing/A1.mp4/x", "/REPORT/now.html", "/report/\\..\\secret.html", "/etc/passwd",
    ],
)  # fmt: skip
def test_a_path_outside_of_what_is_served(path: str, site: Served) -> None:
    answer = site.ask(path)
    assert (answer.status, answer.body) == (404, b"404 Not Found\n")


def request(*lines: bytes) -> bytes:
    return b"\r\n".join((*lines, b"", b""))


@pytest.mark.parametrize(
    ("data", "statuses"),
    [
        (b"", {0}),
        (b"\r\n\r\n", {0}),
        (b"\0" * 5000, {414, 400}),
        (b"GET /" + b"a" * 5000 + b" HTTP/1.1\r\n\r\n", {414}),
        (b"GET /" + b"a" * 100_000, {414}),
        (request(b"GET / HTTP/1.1", b"Host: H", b"X: " + b"a" * 20_000), {431}),
        (request(b"GET / HTTP/1.1", b"Host: H", *[b"X: y"] * 150), {431}),
        (request(b"GET / HTTP/1.1", b"Host: H", *[b"X: " + b"y" * 200] * 90), {431}),
        (request(b"GET / HTTP/1.1"), {400}),
        (request(b"GET / HTTP/1.1", b"Host: H", b"Host: evil"), {400}),
        (request(b"GET / HTTP/1.1", b"Host: H", b"Transfer-Encoding: chunked"), {400}),
        (request(b"GET / HTTP/1.1", b"Host: H", b"Content-Length: 5"), {400}),
        (request(b"GET / HTTP/1.1", b"Host: H", b"Content-Length: x"), {400}),
        (request(b"GET / HTTP/2.0", b"Host: H"), {505}),
        (request(b"GET / HTTP/9" + b"9" * 30, b"Host: H"), {400}),
        (request(b"GET /"), {400, 0}),
        (request(b"GET"), {400, 0}),
        (request(b"GET / x HTTP/1.1"), {400}),
        (request(b"GET /\xff\xfe HTTP/1.1", b"Host: H"), {401}),
        (request(b"GET * HTTP/1.1", b"Host: H"), {401}),
        (request(b"GET / HTTP/1.1", b"Host: H", b"\xff\xfe: \x00"), {401}),
        (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + bytes(range(256)), {400, 0}),
    ],
)  # fmt: skip
def test_hostile_requests_are_refused_and_the_next_is_answered(
    data: bytes, statuses: set[int], site: Served
) -> None:
    ours = b"Host: 127.0.0.1:%d" % site.server.port
    answer = site.raw(data.replace(b"Host: H", ours))
    assert status_of(answer) in statuses or (0 in statuses and b"HTTP/" not in answer), answer[:200]
    assert b"Traceback" not in answer and len(answer) < 1000
    assert site.ask("/report/now.json").status == 200 and site.faults == []


def test_a_connection_serves_one_request_after_the_other(site: Served) -> None:
    ours = f"Host: 127.0.0.1:{site.server.port}\r\n"
    one = f"GET /{TOKEN}/viewing/A1.mp4 HTTP/1.1\r\n{ours}Range: bytes=0-3\r\n\r\n"
    last = f"GET /{TOKEN}/viewing/A1.mp4 HTTP/1.1\r\n{ours}Connection: close\r\nRange: bytes=4-5\r\n\r\n"
    answer = site.raw((one * 3 + last).encode())
    assert answer.count(b"HTTP/1.1 206") == 4 and answer.endswith(MOVIE[4:6])
    assert answer.count(b"\r\n\r\n" + MOVIE[:4]) == 3


@pytest.mark.parametrize("version", ["HTTP/1.0\r\n", "HTTP/1.1\r\nConnection: close\r\n"])
def test_who_wants_the_connection_closed_has_it_closed(version: str, site: Served) -> None:
    """By the answer itself, not by the time that a connection may idle."""
    for path in ("viewing/A1.mp4", "report/now.html", "none"):
        with site.open(5) as connection:
            head = f"{version}Host: 127.0.0.1:{site.server.port}\r\n\r\n"
            connection.sendall(f"GET /{TOKEN}/{path} {head}".encode())
            answer = b""
            while piece := connection.recv(65536):
                answer += piece
        assert status_of(answer) == (404 if path == "none" else 200) and b"Connection: close" in answer
