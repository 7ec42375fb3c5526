"""Generations of a history together: which hash is compared with, renames, patterns."""

from manifests import HASH, entry, folder_entry, hash_list
from rushlight.pipelines.manifests.hash_list import parse_hash_list
from rushlight.pipelines.manifests.history import Generation, History


def history(*generations: list[str], faults: tuple[str, ...] = (), ignore: object = ()) -> History:
    made = []
    for number, entries in enumerate(generations, 1):
        listed = parse_hash_list(hash_list(entries, ignore=[f"p{number}"]))
        fault = faults[number - 1] if number <= len(faults) else ""
        made.append(Generation(number=number, name=f"{number}.mhl", hash_list=listed, fault=fault))
    return History("", tuple(made))


def stated(found: History, path: str) -> tuple[int, str, str]:
    """Generation, kind and hash that a path is compared with."""
    expected = found.files[path]
    assert expected.hash
    return expected.generation, expected.hash.kind, expected.hash.value


def test_the_first_generation_that_has_a_file_is_compared_with() -> None:
    found = history(
        [entry("a", b"1")], [entry("a", b"2", "md5", action="verified"), entry("b", b"3", action="original")]
    )
    assert stated(found, "a") == (1, "xxh64", HASH["xxh64"](b"1"))
    assert stated(found, "b")[0] == 2


def test_of_several_hashes_the_fastest_is_taken() -> None:
    assert stated(history([entry("a", b"1", "md5", "c4", "xxh128")]), "a")[1] == "xxh128"


def test_a_hash_that_failed_is_never_compared_with() -> None:
    found = history([entry("a", b"1")], [entry("a", b"2", action="failed")])
    assert stated(found, "a") == (1, "xxh64", HASH["xxh64"](b"1"))
    alone = history([entry("a", b"2", action="failed")]).files["a"]
    assert alone.hash is None and "found to differ" in alone.fault


def test_an_unknown_kind_gives_way_to_a_later_one_that_is_known() -> None:
    first = entry("a", b"1", "md5").replace("md5", "sha256")
    assert stated(history([first], [entry("a", b"1", action="verified")]), "a")[:2] == (2, "xxh64")
    assert "sha256" in history([first]).files["a"].fault


def test_hashes_of_a_manifest_that_was_changed_are_not_used() -> None:
    found = history(
        [entry("a", b"1"), entry("b", b"1")],
        [entry("a", b"1", action="verified")],
        faults=("it was changed",),
    )
    assert stated(found, "a")[0] == 2
    assert (found.files["b"].hash, found.files["b"].fault, found.files["b"].size) == (
        None,
        "it was changed",
        None,
    )


def test_a_renamed_file_keeps_its_first_hash() -> None:
    found = history([entry("a", b"1")], [entry("b", b"1", previous="a")], [entry("c", b"1", previous="b")])
    assert set(found.files) == {"c"}
    assert stated(found, "c")[0] == 1 and found.files["c"].previous == "a"


def test_two_files_may_change_names_with_each_other() -> None:
    found = history(
        [entry("a", b"1"), entry("b", b"2")], [entry("b", b"1", previous="a"), entry("a", b"2", previous="b")]
    )
    assert (stated(found, "a")[2], stated(found, "b")[2]) == (HASH["xxh64"](b"2"), HASH["xxh64"](b"1"))


def test_a_rename_by_a_manifest_that_was_changed_takes_no_hash_along() -> None:
    """Else whoever changed it could have one file pass for another."""
    names = [entry("b", b"1", previous="a"), entry("a", b"2", previous="b")]
    found = history([entry("a", b"1"), entry("b", b"2")], names, faults=("", "it was changed"))
    assert {(found.files[n].hash, found.files[n].size, found.files[n].fault) for n in "ab"} == {
        (None, None, "it was changed")
    }
    later = history(
        [entry("a", b"1")],
        [entry("b", b"1", previous="a")],
        [entry("b", b"1", action="verified")],
        faults=("", "it was changed"),
    )
    assert stated(later, "b")[0] == 3


def test_a_renamed_folder_takes_its_files_along() -> None:
    found = history(
        [entry("old/x/a", b"1"), folder_entry("old"), folder_entry("old/x")], [folder_entry("new", "old")]
    )
    assert set(found.files) == {"new/x/a"} and found.folders == {"new", "new/x"}


def test_a_rename_of_what_nobody_knew_is_a_new_file() -> None:
    assert stated(history([entry("a", b"1")], [entry("c", b"3", previous="b")]), "c")[0] == 2


def test_the_latest_patterns_hold() -> None:
    found = history([], [])
    assert found.patterns.leaves_out("p2") and not found.patterns.leaves_out("p1")
    changed = history([], [], faults=("", "it was changed"))
    assert changed.patterns.leaves_out("p1") and not changed.patterns.leaves_out("p2")


def test_without_patterns_the_standards_own_hold() -> None:
    bare = Generation(number=1, name="1", hash_list=parse_hash_list(hash_list([], ignore=None)))
    assert History("", (bare,)).patterns.leaves_out("a/.DS_Store")


def test_paths_of_a_history_further_down() -> None:
    found = History("A/B", ())
    assert (found.inside("A/B/c"), found.inside("A/BC/c"), found.outside("c")) == ("c", None, "A/B/c")
