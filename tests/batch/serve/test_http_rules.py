"""Rules that a request is held to: what names something inside, who may ask, and which bytes."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rushlight.batch.serve.http_rules import byte_range, host_is_ours, parse_target, same_token


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("/", ()),
        ("/t/report/now.html", ("t", "report", "now.html")),
        ("/t/report/", ("t", "report")),
        ("/t/a%20b/%C3%A9.mp4?x=1", ("t", "a b", "é.mp4")),
        ("/t/%FF.mp4", ("t", "\udcff.mp4")),
        ("http://cart.local:80/t", ("t",)),
    ],
)
def test_a_target_in_parts(text: str, parts: tuple[str, ...]) -> None:
    target = parse_target(text)
    assert target is not None and target.parts == parts


@pytest.mark.parametrize(
    "text",
    [
        "", "*", "t", "/t/../x", "/t/%2e%2e/x", "/t/%2E%2e%2fx", "/t/.work/x", "/t/%2ework/x", "/t/./x", "/t//x", "/t/a%00b", "/t/a%2fb",
        "/t/a%5cb", "/t/a\\b", "/t/é", "/t/a b", "/t/\x00", "/t/x#y", "http://", "ftp://a/t", "localhost:80", "/t/..%c0%afx",
    ],
)  # fmt: skip
def test_what_names_nothing_inside(text: str) -> None:
    assert parse_target(text) is None


@given(
    st.text(max_size=60)
    | st.lists(st.sampled_from(["/", "..", "%2e", "%2f", "%", "a", "%00", "?", "#", "\\", ".", "é"])).map(
        "".join
    )
)
@example("/%2e%2e/%2e%2e/etc/passwd")
def test_no_target_leads_out(text: str) -> None:
    target = parse_target(text)
    if target:
        assert all(p and not p.startswith(".") and not set(p) & {"/", "\\", "\0"} for p in target.parts)
        target.asked("since")


def test_an_absolute_address_has_its_authority() -> None:
    found = parse_target("HTTP://evil.example/t")
    assert found is not None and (found.authority, found.parts) == ("evil.example", ("t",))
    found = parse_target("https://127.0.0.1:80")
    assert found is not None and (found.authority, found.parts) == ("127.0.0.1:80", ())


@pytest.mark.parametrize(
    ("host", "ours"),
    [
        ("127.0.0.1:8080", True), ("LOCALHOST:8080", True), ("localhost.:8080", True), ("outer.example:99", True), ("[::1]:8080", True),
        ("127.0.0.1", False), ("127.0.0.1:80", False), ("evil.example:8080", False), ("", False), ("a b:8080", False),
        ("127.0.0.1:8080@evil", False), ("localhost:8080,evil", False), ("outer.example:8080", False), ("127.0.0.1:99999999", False),
    ],
)  # fmt: skip
def test_hosts_that_are_ours(host: str, ours: bool) -> None:
    names = ("127.0.0.1", "localhost", "::1", "outer.example:99")
    assert host_is_ours(host, 8080, names, secure=False) is ours


def test_a_host_without_a_port_has_its_schemes() -> None:
    assert host_is_ours("a", 443, ("a",), secure=True) and host_is_ours("a", 80, ("a",), secure=False)
    assert not host_is_ours("a", 443, ("a",), secure=False)


def test_a_token_is_the_same_or_not() -> None:
    assert same_token("abc", "abc")
    for other in ("", "ab", "abcd", "ABC", "é", "\udcff"):
        assert not same_token(other, "abc")


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("bytes=0-99", (0, 99)), ("bytes=10-", (10, 999)), ("bytes=-100", (900, 999)), ("bytes=-5000", (0, 999)), ("bytes=990-5000", (990, 999)),
        ("bytes= 5-6", (5, 6)), ("", None), ("bytes=", None), ("bytes=-", None), ("bytes=5-4", None), ("bytes=0-1,4-5", None), ("items=0-1", None),
        ("bytes=x-1", None), ("bytes=--1", None), (f"bytes={'9' * 30}-", None),
    ],
)  # fmt: skip
def test_ranges(text: str, found: tuple[int, int] | None) -> None:
    assert byte_range(text, 1000) == found


@pytest.mark.parametrize(
    ("text", "size"), [("bytes=1000-", 1000), ("bytes=-0", 1000), ("bytes=0-", 0), ("bytes=-5", 0)]
)
def test_ranges_without_a_byte(text: str, size: int) -> None:
    with pytest.raises(ValueError):
        byte_range(text, size)


@given(st.text(max_size=30) | st.from_regex(r"bytes=\d{0,6}-\d{0,6}", fullmatch=True), st.integers(0, 5000))
def test_a_range_lies_in_its_file(text: str, size: int) -> None:
    try:
        found = byte_range(text, size)
    except ValueError:
        return
    assert found is None or 0 <= found[0] <= found[1] < size
