"""Hash lists of ASC MHL 2.0: what is read, and each quirk of other readers refused or said."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from manifests import SCENARIOS, entry, folder_entry, hash_list
from rushlight.pipelines.errors import ManifestError
from rushlight.pipelines.manifests.hash_list import FileEntry, Reference, StatedHash, parse_hash_list


def refused(data: bytes) -> str:
    with pytest.raises(ManifestError) as error:
        parse_hash_list(data, file="f.mhl")
    return str(error.value)


def test_all_that_is_asked_of_it() -> None:
    found = parse_hash_list(
        hash_list(
            [
                entry("Clips/a.mov", b"abc", "xxh64", "md5", previous="Clips/o.mov"),
                folder_entry("Empty", "Old"),
            ],
            ignore=["*.tmp", "/x y"],
            references={"A/ascmhl/0001_A.mhl": "c4x"},
        )
    )
    assert found.files == (
        FileEntry(
            path="Clips/a.mov",
            size=3,
            hashes=(
                StatedHash(kind="xxh64", value="44bc2cf5ad770999", action="original"),
                StatedHash(kind="md5", value="900150983cd24fb0d6963f7d28e17f72", action="original"),
            ),
            previous="Clips/o.mov",
            line=6,
        ),
    )
    assert [(f.path, f.previous) for f in found.folders] == [("Empty", "Old")]
    assert found.references == (Reference(path="A/ascmhl/0001_A.mhl", c4="c4x"),)
    assert (found.ignore, found.maker, found.made) == (
        ("*.tmp", "/x y"),
        "tests 1",
        "2026-11-27T01:02:03+00:00",
    )


def test_no_patterns_are_not_the_same_as_none_stated() -> None:
    assert parse_hash_list(hash_list([], ignore=None)).ignore is None


@pytest.mark.parametrize("version", ["1.0", "1.1", ""])
def test_mhl_1_is_refused_by_name_with_what_to_ask_for(version: str) -> None:
    data = f'<?xml version="1.0"?>\n<hashlist version="{version}"><hash><file>a.mov</file></hash></hashlist>'
    said = refused(data.encode())
    assert (
        f"f.mhl:2: is MHL {version or '1'}, an older form" in said
        and "Ask whoever made the copy for an ASC MHL 2.0" in said
    )


@pytest.mark.parametrize(
    "data",
    [
        hash_list([]).replace(b'version="2.0"', b'version="1.0"'),
        hash_list([]).replace(b'version="2.0"', b'version="3.0"'),
        hash_list([]).replace(b"urn:ASC:MHL:v2.0", b"urn:ASC:MHL:v1.0"),
    ],
)
def test_another_version_or_namespace_is_not_taken_for_2(data: bytes) -> None:
    assert "only ASC MHL 2.0 (urn:ASC:MHL:v2.0) is read" in refused(data)


def test_another_document_is_no_hash_list() -> None:
    assert "is no hash list: its first element is <a>" in refused(b"<a/>")


def test_cut_xml_is_said_with_its_line() -> None:
    data = hash_list([entry("a.mov", b"abc")])
    assert refused(data[: data.index(b"<xxh64")]).startswith("f.mhl:6: is not whole XML")
    assert refused(b"") == refused(b" \n") == "f.mhl: is empty"


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("../../etc/passwd", "leads out of the manifest's folder"),
        ("Clips/../../x", "leads out"),
        ("Clips\\..\\..\\x", "leads out"),
        ("/etc/passwd", "is absolute"),
        ("\\\\server\\share\\x", "is absolute"),
        ("C:\\Clips\\a.mov", "is absolute"),
        ("c:a.mov", "is absolute"),
        ("", "a path that is empty"),
        ("x" * 5000, "a path of over 4096 characters"),
    ],
)
def test_a_path_stays_inside(path: str, said: str) -> None:
    for data in (
        hash_list([entry(path, b"abc")]),
        hash_list([entry("a.mov", b"abc", previous=path)] if path else [entry(path, b"")]),
        hash_list([], references={path: "c4"}),
    ):
        assert f"f.mhl:{6 if b'<hash>' in data else 8}: " in refused(data) and said in refused(data)


def test_backslashes_are_read_as_slashes_and_said() -> None:
    found = parse_hash_list(hash_list([entry("Clips\\a.mov", b"abc")]))
    assert (found.files[0].path, found.backslashes) == ("Clips/a.mov", True)
    assert not parse_hash_list(hash_list([entry("Clips/a.mov", b"abc")])).backslashes


def test_external_entities_are_refused() -> None:
    for head in (
        '<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/hostname">]>',
        '<!DOCTYPE a SYSTEM "http://nowhere.invalid/a.dtd">',
        '<!DOCTYPE a [<!ENTITY b "x">]>',
    ):
        data = (
            hash_list([entry("&b;", b"abc")])
            .decode()
            .replace("?>\n", f"?>\n{head}\n")
            .replace("&amp;b;", "&b;")
        )
        assert "has a document type or entities of its own" in refused(data.encode())


def test_an_unknown_hash_is_kept_as_what_cannot_be_compared() -> None:
    data = hash_list([entry("a.mov", b"abc", "md5")]).replace(b"md5", b"sha256")
    (stated,) = parse_hash_list(data).files[0].hashes
    assert stated.kind == "sha256" and "does not have: sha256" in stated.fault


def test_a_failed_hash_is_none_to_compare_with() -> None:
    (stated,) = parse_hash_list(hash_list([entry("a.mov", b"abc", action="failed")])).files[0].hashes
    assert "was found to differ" in stated.fault


def test_metadata_and_foreign_elements_say_what_they_like() -> None:
    more = b'<metadata><path>/etc</path><md5 action="x">y</md5></metadata>'
    data = hash_list([entry("a.mov", b"abc")]).replace(b"</hash>", more + b"</hash>")
    assert parse_hash_list(data).files == parse_hash_list(hash_list([entry("a.mov", b"abc")])).files


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b'size="3"', b'size="three"', "states a size of 'three'; it must be a number of bytes"),
        (b'size="3"', b'size="-3"', "a number of bytes"),
        (
            b'action="original"',
            b'action="perhaps"',
            "action 'perhaps'; there are original, verified, failed, new",
        ),
        (b'<path size="3">a.mov</path>', b"", "has an entry without a path"),
        (b"<hashes>", b"<hashes>" + b"<a>" * 200, "nests more than 100 elements"),
    ],
)
def test_what_is_wrong_is_said_with_its_line(old: bytes, new: bytes, said: str) -> None:
    found = refused(hash_list([entry("a.mov", b"abc")]).replace(old, new))
    assert found.startswith("f.mhl:") and said in found


def test_a_file_stated_twice_with_other_hashes_is_refused() -> None:
    assert "states 'a' twice, with other hashes in line 6" in refused(
        hash_list([entry("a", b"1"), entry("a", b"2")])
    )
    assert len(parse_hash_list(hash_list([entry("a", b"1")] * 2)).files) == 1


def test_what_is_far_too_large_is_refused_unread() -> None:
    assert "is far too large" in refused(b"<a/>" * 4_000_001)


def test_a_long_pattern_is_refused() -> None:
    assert "an ignore pattern of over" in refused(hash_list([], ignore=["*" * 5000]))


@pytest.mark.skipif(not SCENARIOS.is_dir(), reason=f"the standard's scenarios are not in {SCENARIOS}")
def test_the_standards_scenarios() -> None:
    found = [parse_hash_list(p.read_bytes(), file=str(p)) for p in SCENARIOS.rglob("*.mhl")]
    assert len(found) == 17 and sum(len(each.files) for each in found) == 49


@given(data=st.binary(max_size=300) | st.text(max_size=300).map(lambda t: t.encode("utf-8", "surrogatepass")))
def test_any_bytes_are_a_manifest_or_one_error(data: bytes) -> None:
    with pytest.raises(ManifestError):
        parse_hash_list(data)


@given(path=st.text(min_size=1, max_size=60))
def test_a_name_of_any_signs_comes_back(path: str) -> None:
    try:
        (found,) = parse_hash_list(hash_list([entry(path, b"")])).files
    except ManifestError:
        return
    assert ".." not in found.path.split("/") and not found.path.startswith("/")
