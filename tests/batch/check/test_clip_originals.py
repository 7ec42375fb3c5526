"""Originals of a list against the manifests given with it: which manifest is of which folder, and a verdict a clip."""

import os
from pathlib import Path

import pytest

from manifests import card, entry, generation, hash_list, sealed
from rushlight.batch.check.clip_originals import (
    AUTO,
    REFUSED,
    ClipCheck,
    ClipOriginals,
    compared,
    refusal,
    with_verdict,
)
from rushlight.batch.records.original import ManifestCheck
from rushlight.pipelines.errors import ManifestError


@pytest.fixture
def media(tmp_path: Path) -> Path:
    """Two cards of one folder, each with a history."""
    media = tmp_path / "media"
    for name in ("A001", "B001"):
        sealed(card(media / name, Clips__1_mov=name.encode(), Clips__2_mov=b"22"))
    return media


def originals(media: Path, *given: object, paths: list[Path] | None = None) -> ClipOriginals:
    found = paths or sorted(media.rglob("*.mov"))
    return ClipOriginals([str(g) for g in given], found, [media])


def later(check: ClipCheck) -> ManifestCheck:
    """The verdict once hashes are compared."""
    return compared(check.rows, check.record())


def words(found: ClipOriginals) -> dict[str, str]:
    """Verdict on each file as a clip: before its hash is compared, and after."""
    said = {}
    for path in found.originals:
        check = found.of([path])
        said[f"{path.parts[-3]}/{path.name}"] = (
            f"{check.record().verdict} > {later(check).verdict if check.rows else check.record().verdict}"
        )
    return said


def test_auto_takes_the_histories_that_originals_lie_in(media: Path) -> None:
    assert set(words(originals(media, AUTO)).values()) == {"not compared yet > matches"}


def test_what_differs_in_size_is_known_at_once_and_in_bytes_once_read(media: Path) -> None:
    (media / "A001/Clips/1.mov").write_bytes(b"A0012")
    (media / "B001/Clips/1.mov").write_bytes(b"B002")
    found = words(originals(media, AUTO))
    assert found["A001/1.mov"] == "differs > differs" and found["B001/1.mov"] == "not compared yet > differs"
    assert found["A001/2.mov"] == "not compared yet > matches"


def test_auto_looks_no_higher_than_the_media(media: Path) -> None:
    above = media.parent
    generation(above, entry("media/A001/Clips/1.mov", b"other"))
    assert set(words(originals(media, AUTO)).values()) == {"not compared yet > matches"}


def test_a_history_above_counts_with_those_below(media: Path) -> None:
    generation(media, entry("A001/Clips/1.mov", b"A000"))
    found = words(originals(media, AUTO))
    assert (
        found["A001/1.mov"] == "not compared yet > differs"
        and found["B001/1.mov"] == "not compared yet > matches"
    )


def test_a_named_manifest_is_of_the_folder_it_lies_in(media: Path) -> None:
    (manifest,) = (media / "A001" / "ascmhl").glob("*.mhl")
    found = words(originals(media, manifest))
    assert found["A001/1.mov"] == "not compared yet > matches"
    assert found["B001/1.mov"] == "not in the manifest > not in the manifest"


def test_a_mailed_manifest_is_of_the_folder_that_its_names_fit(media: Path, tmp_path: Path) -> None:
    mailed = tmp_path / "mail" / "A.mhl"
    mailed.parent.mkdir()
    mailed.write_bytes(hash_list([entry("A001/Clips/1.mov", b"A001"), entry("A001/Clips/2.mov", b"22")]))
    found = words(originals(media, mailed))
    assert found["A001/1.mov"] == found["A001/2.mov"] == "not compared yet > matches"
    assert found["B001/1.mov"].startswith("not in the manifest")
    both = words(originals(media, mailed, AUTO))
    assert set(both.values()) == {"not compared yet > matches"}


def test_a_mailed_manifest_that_fits_two_folders_is_refused(media: Path, tmp_path: Path) -> None:
    mailed = tmp_path / "mailed.mhl"
    mailed.write_bytes(hash_list([entry("Clips/1.mov", b"A001")]))
    alone = [media / "A001/Clips/1.mov"]
    (tmp_path / "far").mkdir()
    far = tmp_path / "far" / "x.mhl"
    far.write_bytes(mailed.read_bytes())
    with pytest.raises(ManifestError, match=r"fits .* alike"):
        originals(media, far)
    assert words(originals(media, far, paths=alone)) == {"A001/1.mov": "not compared yet > matches"}


def test_of_two_folders_the_one_whose_sizes_fit_is_meant(media: Path, tmp_path: Path) -> None:
    (media / "B001/Clips/1.mov").write_bytes(b"another length")
    (tmp_path / "far").mkdir()
    mailed = tmp_path / "far" / "x.mhl"
    mailed.write_bytes(hash_list([entry("Clips/1.mov", b"A001"), entry("Clips/2.mov", b"22")]))
    found = words(originals(media, mailed))
    assert found["A001/1.mov"] == "not compared yet > matches" and found["B001/1.mov"].startswith("not in")


def test_a_manifest_of_none_of_the_originals_is_a_note(media: Path, tmp_path: Path) -> None:
    other = sealed(card(tmp_path / "C001", Clips__9_mov=b"9"))
    found = originals(media, other)
    assert found.notes == [f"manifest {other} names none of these originals"]
    assert set(words(found).values()) == {"not in the manifest > not in the manifest"}


def test_it_says_how_many_bytes_were_read(media: Path) -> None:
    check = originals(media, AUTO).of(sorted(media.rglob("*.mov")))
    told: list[int] = []
    compared(check.rows, check.record(), told.append)
    assert told == sorted(told) and told[-1] == sum(row.bytes for row in check.rows) == 12


def test_a_manifest_that_is_not_intact_is_a_note_and_verifies_nothing(media: Path) -> None:
    (manifest,) = (media / "A001" / "ascmhl").glob("*.mhl")
    manifest.write_bytes(manifest.read_bytes().replace(b"cart", b"cast"))
    found = originals(media, AUTO)
    assert words(found)["A001/1.mov"] == "no usable hash > no usable hash"
    assert len(found.notes) == 1 and "changed" in found.notes[0] and str(manifest) in found.notes[0]


def test_a_pattern_that_leaves_it_out_does_not_verify_it(tmp_path: Path) -> None:
    root = card(tmp_path / "media" / "A", Clips__1_mov=b"1")
    generation(root, entry("Clips/1.mov", b"1"), ignore=["*.mov"])
    found = originals(root.parent, AUTO)
    assert words(found) == {"A/1.mov": "not in the manifest > not in the manifest"}
    assert "a pattern of the manifest" in found.of(found.originals).record().text


def test_a_sequence_is_as_good_as_its_worst_file(tmp_path: Path) -> None:
    root = card(tmp_path / "media" / "A", **{f"seq__s{n}_dpx": b"%d" % n for n in range(4)})
    sealed(root)
    (root / "seq/s2.dpx").write_bytes(b"x")
    files = sorted(root.rglob("*.dpx"))
    found = ClipOriginals([AUTO], files, [root.parent])
    check = later(found.of(files))
    assert check.verdict == "differs" and check.text.startswith("1 of 4 files, first s2.dpx: its xxh64 is")
    assert later(found.of(files[:2])).text == "2 of 2 files"
    card(root, seq__s9_dpx=b"9")
    more = sorted(root.rglob("*.dpx"))
    again = ClipOriginals([AUTO], more, [root.parent])
    assert later(again.of([files[0], more[-1]])).verdict == "not in the manifest"
    assert again.of([files[0], more[-1]]).record().verdict == "not in the manifest"


def test_the_record_of_one_file_has_its_hashes(media: Path) -> None:
    found = originals(media, AUTO)
    said = later(found.of(found.originals[:1]))
    assert (said.kind, said.hash) == ("xxh64", said.found) and said.found and said.manifest.endswith(".mhl")


def test_a_file_that_is_gone_meanwhile_cannot_be_read(media: Path) -> None:
    found = originals(media, AUTO)
    check = found.of(found.originals[:1])
    os.unlink(found.originals[0])
    assert later(check).verdict == "cannot be read" and later(check).verdict in REFUSED


def test_what_is_said_of_a_clip() -> None:
    differs = ManifestCheck(verdict="differs", text="its xxh64 is 1; a.mhl has 2")
    assert "(differs: its xxh64 is 1; a.mhl has 2), so it is not delivered; copy it again" in str(
        refusal(differs, "a.mov")
    )
    once = with_verdict(differs, ["other"])
    assert once == ["other", "its original is not verified: differs: its xxh64 is 1; a.mhl has 2"]
    assert with_verdict(differs, once) == once
    assert with_verdict(ManifestCheck(verdict="matches"), once) == ["other"]
