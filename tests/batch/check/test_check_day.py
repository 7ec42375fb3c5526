"""All media of a day against its manifests: which are used, how their verdicts come together, and that each file is read once."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from manifests import card, entry, hash_list, sealed
from rushlight.batch.check.check_day import check_day
from rushlight.batch.check.check_media import Checked, Progress
from rushlight.pipelines.errors import ManifestError


def checked(folder: Path, *media: str, given: Sequence[str] = ("auto",)) -> Checked:
    return check_day(folder / "day.toml", [folder / name for name in media], given)


def words(found: Checked) -> dict[str, str]:
    return {file.path: file.verdict for file in found.files}


def test_cards_of_several_folders_with_their_own_manifests(tmp_path: Path) -> None:
    for name in ("cards/A001", "more/B002"):
        sealed(card(tmp_path / name, a_mov=b"1"))
    found = checked(tmp_path, "cards", "more")
    assert words(found) == {"cards/A001/a.mov": "matches", "more/B002/a.mov": "matches"}
    assert found.verdict == "all match" and found.media == tmp_path / "day.toml"
    assert [m.path.partition("/ascmhl/")[0] for m in found.manifests] == ["cards/A001", "more/B002"]
    (tmp_path / "more/B002/a.mov").write_bytes(b"2")
    found = checked(tmp_path, "cards", "more")
    assert words(found) == {"more/B002/a.mov": "differs", "cards/A001/a.mov": "matches"}
    assert found.verdict == "does not match"


def test_a_card_without_a_manifest_beside_one_that_matches_is_no_match(tmp_path: Path) -> None:
    sealed(card(tmp_path / "cards/A001", a_mov=b"1"))
    card(tmp_path / "cards/B002", b_mov=b"1")
    found = checked(tmp_path, "cards")
    assert words(found) == {"cards/B002/b.mov": "not in the manifest", "cards/A001/a.mov": "matches"}
    assert found.verdict == "does not match"


def test_no_manifest_at_all(tmp_path: Path) -> None:
    card(tmp_path / "cards/A001", a_mov=b"1")
    found = checked(tmp_path, "cards")
    assert found.verdict == "no manifest" and "ask whoever made the copies" in found.text


def test_a_named_manifest_is_of_the_card_that_it_fits(tmp_path: Path) -> None:
    card(tmp_path / "cards/A001", a_mov=b"1", ab_mov=b"12")
    card(tmp_path / "cards/B002", b_mov=b"1")
    named = tmp_path / "A001.mhl"
    named.write_bytes(hash_list([entry("a.mov", b"1"), entry("ab.mov", b"12"), entry("c.mov", b"3")]))
    found = checked(tmp_path, "cards", given=[str(named)])
    assert words(found) == {
        "cards/A001/c.mov": "missing",
        "cards/B002/b.mov": "not in the manifest",
        "cards/A001/a.mov": "matches",
        "cards/A001/ab.mov": "matches",
    }
    assert [(m.path, m.verdict) for m in found.manifests] == [("A001.mhl", "alone")]
    named.write_bytes(b"nothing")
    with pytest.raises(ManifestError):
        checked(tmp_path, "cards", given=[str(named)])


def test_a_named_manifest_in_the_media_is_no_original(tmp_path: Path) -> None:
    named = card(tmp_path / "cards", a_mov=b"1") / "day.mhl"
    named.write_bytes(hash_list([entry("a.mov", b"1")]))
    assert words(checked(tmp_path, "cards", given=[str(named)])) == {"cards/a.mov": "matches"}


def test_each_must_have_a_file_as_it_is_and_the_file_is_read_once(tmp_path: Path) -> None:
    sealed(card(tmp_path / "cards/A001", a_mov=b"1"))
    named = tmp_path / "A001.mhl"
    named.write_bytes(hash_list([entry("a.mov", b"1", "md5")]))
    told: list[Progress] = []
    given = ["auto", str(named)]
    found = check_day(tmp_path / "day.toml", [tmp_path / "cards"], given, on_progress=told.append)
    assert words(found) == {"cards/A001/a.mov": "matches"} and found.verdict == "all match"
    assert (told[-1].path, told[-1].done, told[-1].bytes) == ("cards/A001/a.mov", 1, 1)
    named.write_bytes(hash_list([entry("a.mov", b"2", "md5")]))
    (differing,) = checked(tmp_path, "cards", given=given).files
    assert differing.verdict == "differs" and "A001.mhl" in differing.text


def test_what_is_not_there_is_missing(tmp_path: Path) -> None:
    sealed(card(tmp_path / "cards/A001", a_mov=b"1"))
    found = checked(tmp_path, "cards", "more")
    assert words(found) == {"more": "missing", "cards/A001/a.mov": "matches"}
    assert found.verdict == "does not match"
    named = tmp_path / "C003.mhl"
    named.write_bytes(hash_list([entry("c.mov", b"1")]))
    found = checked(tmp_path, "cards", given=["auto", str(named)])
    assert words(found)["C003.mhl"] == "missing" and found.verdict == "does not match"


def test_folders_in_each_other_are_one(tmp_path: Path) -> None:
    sealed(card(tmp_path / "cards/A001", a_mov=b"1"))
    found = checked(tmp_path, "cards", "cards/A001")
    assert words(found) == {"cards/A001/a.mov": "matches"} and len(found.manifests) == 1
