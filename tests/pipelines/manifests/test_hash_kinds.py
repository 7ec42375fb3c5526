"""Hash kinds against values that others published, and against the standard's own package."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.pipelines.manifests.hash_kinds import KINDS, c4, fault_of

# Of b"abc", made with the programs of each hash.
ABC = {
    "xxh64": "44bc2cf5ad770999",
    "xxh3": "78af5f94892f3950",
    "xxh128": "06b05ab6733a618578af5f94892f3950",
    "md5": "900150983cd24fb0d6963f7d28e17f72",
    "sha1": "a9993e364706816aba3e25717850c26c9cd0d89d",  # FIPS 180-1, appendix A
    "c4": "c45S4rnaTNWonxss1u8LzsaJdEph1AJhWUF4sh2waXKMsutyfAxg4ybUeuXVWS9HdNcEypmeXn8FZGonD4w1rj9DZp",
}


def digest(kind: str, data: bytes) -> str:
    hasher = KINDS[kind].new()
    hasher.update(data)
    return KINDS[kind].text(hasher.digest())


@pytest.mark.parametrize("kind", ABC)
def test_a_known_value(kind: str) -> None:
    assert digest(kind, b"abc") == ABC[kind]
    assert fault_of(kind, ABC[kind]) == ""


def test_there_are_no_others() -> None:
    assert set(KINDS) == set(ABC)


@given(data=st.binary(max_size=3000), kind=st.sampled_from(sorted(KINDS)))
def test_they_are_as_the_standards_package_writes_them(data: bytes, kind: str) -> None:
    hasher = pytest.importorskip(
        "ascmhl.hasher", reason="the standard's own library, ascmhl, is not installed"
    )
    assert digest(kind, data) == hasher.hash_data(data, kind)


def test_a_c4_is_filled_on_the_left() -> None:
    assert KINDS["c4"].text(b"\0" * 63 + b"\1") == "c4" + "1" * 87 + "2"
    assert c4(b"") == (
        "c459dsjfscH38cYeXXYogktxf4Cd9ibshE3BHUo6a58hBXmRQdZrAkZzsWcbWtDg5oQstpDuni4Hirj75GEmTc1sFT"
    )


def test_hex_digits_are_read_case_blind_and_a_c4_is_not() -> None:
    assert KINDS["xxh64"].plain("44BC2CF5AD770999") == ABC["xxh64"]
    assert KINDS["c4"].plain(ABC["c4"]) == ABC["c4"]


@pytest.mark.parametrize(
    ("kind", "stated", "said"),
    [
        ("sha256", "00", "of a kind that ASC MHL 2.0 does not have: sha256"),
        ("xxh32", "00000000", "does not have: xxh32"),
        ("md5", "900150983cd24fb0d6963f7d28e17f7", "32 hex digits"),
        ("xxh64", "44bc2cf5ad77099g", "16 hex digits"),
        ("xxh64", "", "16 hex digits"),
        ("c4", ABC["c4"].replace("1", "0"), "c4 and 88 characters"),
    ],
)
def test_what_cannot_be_compared_with_is_said(kind: str, stated: str, said: str) -> None:
    assert said in fault_of(kind, stated)
