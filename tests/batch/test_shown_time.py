"""A moment by the clock of the machine with its offset, and in UTC."""

import time
from collections.abc import Iterator

import pytest

from rushlight.batch.shown_time import shown_time

MOMENT = "2026-11-27T23:10:59+00:00"


@pytest.fixture(autouse=True)
def zone(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", getattr(request, "param", "UTC"))
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.parametrize(
    ("zone", "shown"),
    [
        ("UTC", "2026-11-27 23:10 UTC"),
        ("Europe/Oslo", "2026-11-28 00:10 +01:00 (2026-11-27 23:10 UTC)"),
        ("America/New_York", "2026-11-27 18:10 -05:00 (23:10 UTC)"),
        ("Asia/Kathmandu", "2026-11-28 04:55 +05:45 (2026-11-27 23:10 UTC)"),
    ],
    indirect=["zone"],
)
def test_it_is_the_machines_with_its_offset_and_utc(shown: str) -> None:
    assert shown_time(MOMENT) == shown == shown_time("2026-11-28T01:10:00+02:00")


@pytest.mark.parametrize("text", ["", "yesterday", "0001-01-01T00:00:00+23:00"])
def test_what_is_no_moment_stays(text: str) -> None:
    assert shown_time(text) == text
