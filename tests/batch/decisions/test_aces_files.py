"""Files that an AMF names: beside it or in the given folders, and nowhere else."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.decisions.aces_files import referenced_file
from rushlight.pipelines.errors import GradeError

AMF = Path("/day/amf/A001C001.amf")


@pytest.mark.parametrize(
    ("uri", "path"),
    [
        ("show.clf", "/day/amf/show.clf"),
        ("luts/show%20look.clf", "/day/amf/luts/show look.clf"),
        ("file:show.clf", "/day/amf/show.clf"),
        ("file:///day/amf/show.clf", "/day/amf/show.clf"),
        ("file://localhost/day/amf/show.clf", "/day/amf/show.clf"),
        ("../luts/show.clf", "/day/luts/show.clf"),
        ("%C3%BCber.clf", "/day/amf/über.clf"),
    ],
)
def test_a_uri_is_a_path_beside_the_amf(uri: str, path: str) -> None:
    assert referenced_file(uri, AMF, [Path("/day/luts")]) == Path(path)


@pytest.mark.parametrize(
    ("uri", "words"),
    [
        ("../../etc/passwd", "neither below its own folder"),
        ("%2e%2e/%2e%2e/etc/passwd", "neither below"),
        ("/etc/passwd", "neither below"),
        ("file:///etc/passwd", "neither below"),
        ("../luts2/show.clf", "neither below"),
        ("https://example.com/show.clf", "no file beside it"),
        ("file://server/share/show.clf", "no file beside it"),
        ("show.clf?x=1", "no file beside it"),
        ("a%00b.clf", "no name of a file"),
        ("", "no name of a file"),
    ],
)
def test_what_leads_elsewhere_is_refused(uri: str, words: str) -> None:
    with pytest.raises(GradeError, match=words) as caught:
        referenced_file(uri, AMF, [Path("/day/luts")])
    assert caught.value.file == str(AMF)


@given(st.text(max_size=40))
def test_no_uri_leads_out(uri: str) -> None:
    try:
        path = referenced_file(uri, AMF, [])
    except GradeError:
        return
    assert path.is_relative_to(AMF.parent) and ".." not in path.parts
