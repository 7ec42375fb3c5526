"""Verdicts by names and sizes, then by hashes: each word, and names that are not equal as they stand."""

import unicodedata
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from manifests import HASH, entry, folder_entry, hash_list
from rushlight.pipelines.manifests.hash_list import parse_hash_list
from rushlight.pipelines.manifests.history import Generation, History
from rushlight.pipelines.manifests.verdicts import (
    FileVerdict,
    FoundFile,
    FoundMedia,
    by_hash,
    by_names_and_sizes,
    unread,
)


def history(
    *entries: str, folder: str = "", fault: str = "", ignore: tuple[str, ...] = ("*.tmp",)
) -> History:
    listed = parse_hash_list(hash_list(entries, ignore=ignore))
    return History(folder, (Generation(number=1, name="1.mhl", hash_list=listed, fault=fault),))


def media(files: dict[str, bytes], **more: object) -> FoundMedia:
    found = FoundMedia(files=tuple(FoundFile(path=p, size=len(d)) for p, d in files.items()))
    return replace(found, **more)  # type: ignore[arg-type]


def verdicts(files: dict[str, bytes], *histories: History, **more: object) -> dict[str, FileVerdict]:
    """All verdicts by path, the files hashed here."""
    found, to_hash = by_names_and_sizes(media(files, **more), histories)
    for each in to_hash:
        found.append(by_hash(each, {kind: HASH[kind](files[each.path]) for kind in each.kinds}))
    paths = [v.path for v in found]
    assert len(paths) == len(set(paths))
    return {v.path: v for v in found}


def words(files: dict[str, bytes], *histories: History, **more: object) -> dict[str, str]:
    return {path: v.verdict for path, v in verdicts(files, *histories, **more).items()}


def test_each_word() -> None:
    known = history(
        entry("same", b"1"),
        entry("flipped", b"1"),
        entry("short", b"123"),
        entry("gone", b"1"),
        entry("odd", b"1", "md5").replace("md5", "sha256"),
    )
    files = {"same": b"1", "flipped": b"2", "short": b"12", "odd": b"1", "new": b"1", "x.tmp": b"1"}
    assert words(files, known) == {
        "same": "matches",
        "flipped": "differs",
        "short": "differs",
        "gone": "missing",
        "odd": "no usable hash",
        "new": "not in the manifest",
        "x.tmp": "ignored",
    }


def test_what_differs_in_size_is_not_read() -> None:
    found, to_hash = by_names_and_sizes(media({"a": b"12"}), [history(entry("a", b"1"))])
    assert to_hash == [] and found[0].text == "is 2 bytes long; 1.mhl has 1"


def test_upper_case_hex_is_the_same_hash() -> None:
    stated = entry("a", b"abc")
    upper = stated.replace(HASH["xxh64"](b"abc"), HASH["xxh64"](b"abc").upper())
    assert upper != stated and words({"a": b"abc"}, history(upper)) == {"a": "matches"}


def test_a_name_in_another_unicode_form_is_found_after_a_miss() -> None:
    composed, apart = (unicodedata.normalize(form, "Été/prise é.mov") for form in ("NFC", "NFD"))
    assert composed != apart
    for there, named in ((composed, apart), (apart, composed)):
        found = verdicts({there: b"1"}, history(entry(named, b"1")))
        assert found[there].verdict == "matches" and "Unicode form" in found[there].text
        assert len(found) == 1
    both = words({composed: b"1", apart: b"2"}, history(entry(composed, b"1"), entry(apart, b"2")))
    assert set(both.values()) == {"matches"}  # each its own, where both are there


def test_a_form_that_fits_two_files_is_neithers() -> None:
    names = [unicodedata.normalize(form, "e\u0323\u0301") for form in ("NFC", "NFD")]
    other = "\u1eb9\u0301"
    known = unicodedata.normalize("NFD", "e\u0301\u0323x")
    assert (
        words({names[0]: b"1", other + "x": b"1"}, history(entry(known, b"1")))[names[0]]
        == "not in the manifest"
    )


def test_a_name_with_a_backslash_is_found_as_a_slash_and_as_it_stands() -> None:
    assert words({"Clips/a": b"1"}, history(entry("Clips\\a", b"1"))) == {"Clips/a": "matches"}
    assert words({"Clips\\a": b"1"}, history(entry("Clips\\a", b"1"))) == {"Clips\\a": "matches"}


def test_a_file_that_two_histories_name_is_as_each_has_it() -> None:
    above = history(entry("A/a", b"1"), entry("b", b"1"))
    for data, word in ((b"1", "matches"), (b"2", "differs")):
        below = history(entry("a", data), folder="A")
        assert words({"A/a": data, "b": b"1"}, above, below) == {"A/a": word, "b": "matches"}
    mixed = verdicts(
        {"A/a": b"1"}, history(entry("A/a", b"1", "c4")), history(entry("a", b"1", "md5"), folder="A")
    )
    assert mixed["A/a"].verdict == "matches"


def test_a_changed_manifest_has_no_usable_hash_and_still_names_its_files() -> None:
    found = verdicts(
        {"a": b"1", "b": b"1"}, history(entry("a", b"1"), entry("gone", b"1"), fault="it was changed")
    )
    assert {p: v.verdict for p, v in found.items()} == {
        "a": "no usable hash",
        "b": "not in the manifest",
        "gone": "missing",
    }
    assert found["a"].text == "1.mhl: it was changed"


def test_ignored_folders_are_told_once_and_nothing_in_them_is_missing() -> None:
    known = history(entry("Proxy/a", b"1"), entry("b", b"1"), folder_entry("Proxy/x"), ignore=("Proxy/",))
    assert words({"Proxy/c/d": b"1", "Proxy/e": b"1", "b": b"1"}, known) == {
        "Proxy/": "ignored",
        "b": "matches",
    }
    assert words({"b": b"1"}, known) == {"b": "matches"}


def test_patterns_of_a_history_hold_in_its_folder() -> None:
    above, below = history(entry("a", b"1"), ignore=("x",)), history(ignore=("/y",), folder="A")
    assert words({"a": b"1", "A/y": b"", "y": b"", "A/x": b""}, above, below) == {
        "a": "matches",
        "A/y": "ignored",
        "y": "not in the manifest",
        "A/x": "ignored",
    }


def test_an_empty_folder_that_is_gone_is_missing() -> None:
    known = history(entry("A/a", b"1"), folder_entry("A"), folder_entry("E"), folder_entry("F"))
    assert words({"A/a": b"1"}, known, folders=frozenset({"A", "F"})) == {"A/a": "matches", "E/": "missing"}
    assert words({}, known, folders=frozenset({"E", "F"})) == {"A/a": "missing"}  # its folder too: said once


def test_what_cannot_be_looked_into_is_not_called_missing() -> None:
    found = verdicts({}, history(entry("A/a", b"1")), closed={"A": "Permission denied"})
    assert {p: v.verdict for p, v in found.items()} == {"A/": "cannot be read", "A/a": "cannot be read"}
    assert "Permission denied" in found["A/a"].text


def test_a_file_that_is_none_cannot_be_read() -> None:
    link = FoundMedia(files=(FoundFile(path="a", fault="is a symbolic link"),))
    (found,), _ = by_names_and_sizes(link, [history(entry("a", b"1"))])
    assert (found.verdict, found.text) == ("cannot be read", "is a symbolic link")


def test_a_file_that_does_not_read_to_its_end() -> None:
    _, (file,) = by_names_and_sizes(media({"a": b"1"}), [history(entry("a", b"1"))])
    found = unread(file, "Input/output error")
    assert (found.verdict, found.text, found.found) == ("cannot be read", "Input/output error", "")


def test_a_renamed_file_says_what_it_was() -> None:
    listed = [parse_hash_list(hash_list(e)) for e in ([entry("a", b"1")], [entry("b", b"1", previous="a")])]
    known = History(
        "", tuple(Generation(number=n, name=f"{n}", hash_list=x) for n, x in enumerate(listed, 1))
    )
    assert verdicts({"b": b"1"}, known)["b"].text == "was a before it was renamed"


@given(
    known=st.dictionaries(
        st.text("ab/", min_size=1, max_size=3).filter(lambda t: t.strip("/") == t and "//" not in t),
        st.binary(max_size=2),
        max_size=5,
    ),
    there=st.dictionaries(st.sampled_from(["a", "b", "ab", "a/b", "b/a"]), st.binary(max_size=2), max_size=5),
)
def test_every_file_has_one_verdict_and_it_is_true(known: dict[str, bytes], there: dict[str, bytes]) -> None:
    found = words(there, history(*(entry(p, d) for p, d in known.items())))
    assert set(found) == set(known) | set(there)
    for path, word in found.items():
        if path not in there:
            assert word == "missing"
        elif path not in known:
            assert word == "not in the manifest"
        else:
            assert word == ("matches" if known[path] == there[path] else "differs")
