"""Chains of manifests: what is read, and one error with its line for everything else."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from manifests import SCENARIOS, c4_of
from rushlight.pipelines.errors import ManifestError
from rushlight.pipelines.manifests.chain import Link, parse_chain

C4 = c4_of(b"x")
ROW = '<hashlist sequencenr="{}"><path>{}</path><c4>{}</c4></hashlist>\n'


def document(*rows: str, space: str = "urn:ASC:MHL:DIRECTORY:v2.0") -> bytes:
    return f'<ascmhldirectory xmlns="{space}">\n{"".join(rows)}</ascmhldirectory>'.encode()


def test_generations_in_order() -> None:
    found = parse_chain(document(ROW.format(1, "0001_a.mhl", C4), ROW.format(2, "0002_a.mhl", C4)))
    assert found == (
        Link(generation=1, name="0001_a.mhl", c4=C4),
        Link(generation=2, name="0002_a.mhl", c4=C4),
    )


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (
            [ROW.format(2, "a.mhl", C4)],
            "f:2: its entry 1 has number '2'; generations run from 1 without a gap",
        ),
        ([ROW.format(1, "a.mhl", C4), ROW.format(1, "b.mhl", C4)], "f:3: its entry 2 has number '1'"),
        ([ROW.format("", "a.mhl", C4)], "has no number"),
        ([ROW.format("1" * 30, "a.mhl", C4)], "has number"),
        ([ROW.format(1, "../a.mhl", C4)], "names '../a.mhl', which is no file beside it"),
        ([ROW.format(1, "..\\a.mhl", C4)], "no file beside it"),
        ([ROW.format(1, "", C4)], "no file beside it"),
        ([ROW.format(1, "a.mhl", "")], "has no C4 of the manifest"),
        ([ROW.format(1, "a.mhl", C4).replace("c4>", "md5>")], "has no C4 of the manifest"),
    ],
)
def test_what_is_wrong_is_said_with_its_line(rows: list[str], said: str) -> None:
    with pytest.raises(ManifestError) as error:
        parse_chain(document(*rows), file="f")
    assert said in str(error.value)


def test_another_document_is_no_chain() -> None:
    for data in (document(space="urn:other"), b"<ascmhldirectory/>", b"<hashlist/>"):
        with pytest.raises(ManifestError, match="is no chain"):
            parse_chain(data)


@pytest.mark.skipif(not SCENARIOS.is_dir(), reason=f"the standard's scenarios are not in {SCENARIOS}")
def test_the_standards_scenarios() -> None:
    found = {p: parse_chain(p.read_bytes()) for p in SCENARIOS.rglob("ascmhl_chain.xml")}
    assert len(found) == 12
    for path, links in found.items():
        assert [c4_of((path.parent / link.name).read_bytes()) for link in links] == [
            link.c4 for link in links
        ]


@given(data=st.binary(max_size=300) | st.text(max_size=300).map(lambda t: t.encode("utf-8", "surrogatepass")))
def test_any_bytes_are_a_chain_or_one_error(data: bytes) -> None:
    with pytest.raises(ManifestError):
        parse_chain(data)
