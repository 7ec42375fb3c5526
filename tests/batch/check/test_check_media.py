"""A folder against its manifests: the standard's scenarios, each verdict on the whole, and nothing written."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from manifests import HASH, SCENARIOS, card, entry, generation, hash_list, sealed
from rushlight.batch.check import read_hashes
from rushlight.batch.check.check_media import Checked, Progress, check_media
from rushlight.batch.report.mhl_manifest import ManifestFile, write_manifest


def words(found: Checked) -> dict[str, str]:
    return {f.path: f.verdict for f in found.files}


# --- the scenarios of the standard: folder, files that are verified, files that its log says differ

CARD = ("Clips/A002C006_141024_R2EC.mov", "Clips/A002C007_141024_R2EC.mov", "Sidecar.txt")
OTHER = ("Clips/A003C011_141024_R2EC.mov", "Clips/A003C012_141024_R2EC.mov", "Sidecar.txt")
BOTH = (*(f"A002R2EC/{name}" for name in CARD), *(f"A003R2EC/{name}" for name in OTHER))


@pytest.mark.skipif(not SCENARIOS.is_dir(), reason=f"the standard's scenarios are not in {SCENARIOS}")
@pytest.mark.parametrize(
    ("folder", "named", "differ"),
    [
        ("scenario_01/travel_01/A002R2EC", CARD, ()),
        ("scenario_02/travel_01/A002R2EC", CARD, ()),
        ("scenario_02/file_server/A002R2EC", CARD, ()),
        ("scenario_03/travel_01/A002R2EC", CARD, ()),
        ("scenario_03/file_server/A002R2EC", CARD, ()),
        ("scenario_04/travel_01/A002R2EC", CARD, ()),
        ("scenario_04/file_server/A002R2EC", CARD, ("Sidecar.txt",)),
        ("scenario_05/travel_01/Reels", BOTH, ()),
        ("scenario_05/file_server/Reels", (*BOTH, "Summary.txt"), ()),
    ],
)
def test_a_scenario_of_the_standard(folder: str, named: tuple[str, ...], differ: tuple[str, ...]) -> None:
    found = check_media(SCENARIOS / folder)
    assert words(found) == {name: "differs" if name in differ else "matches" for name in named}
    assert found.verdict == ("does not match" if differ else "all match")
    assert {m.verdict for m in found.manifests} == {"intact"}


# --- verdicts on the whole


@pytest.fixture
def root(tmp_path: Path) -> Path:
    root = card(tmp_path / "A", Clips__a_mov=b"abc", b_mov=b"12")
    sealed(root)
    return root


def test_all_match(root: Path) -> None:
    found = check_media(root)
    assert (found.verdict, found.text, words(found)) == (
        "all match",
        "",
        {"Clips/a.mov": "matches", "b.mov": "matches"},
    )
    assert found.counts["matches"] == 2 and sum(found.counts.values()) == 2


def test_what_differs_stands_first(root: Path) -> None:
    (root / "b.mov").write_bytes(b"13")
    found = check_media(root)
    assert (found.verdict, found.files[0].path, found.files[0].verdict) == (
        "does not match",
        "b.mov",
        "differs",
    )
    assert "copy again" in found.text
    assert found.files[0].found != found.files[0].stated != ""


def test_a_file_that_no_manifest_names(root: Path) -> None:
    card(root, c_mov=b"1")
    found = check_media(root)
    assert (found.verdict, words(found)["c.mov"]) == ("does not match", "not in the manifest")
    assert "nothing says what the files were" in found.text


def test_no_manifest(tmp_path: Path) -> None:
    root = card(tmp_path / "A", a_mov=b"1")
    found = check_media(root)
    assert (found.verdict, words(found), found.manifests) == (
        "no manifest",
        {"a.mov": "not in the manifest"},
        (),
    )
    assert "there is no folder `ascmhl` in it" in found.text


def test_no_manifest_and_where_one_is(root: Path, tmp_path: Path) -> None:
    assert check_media(root / "Clips").text == f"{root} has one: check that folder"
    other = card(tmp_path / "B", a_mov=b"abc", B_mhl=hash_list([entry("a.mov", b"abc")]))
    assert check_media(other).text == "B.mhl lies here by itself: name it with --manifest"
    assert check_media(other, other / "B.mhl").files[-1].verdict == "matches"


def test_a_broken_chain(root: Path) -> None:
    (manifest,) = (root / "ascmhl").glob("*.mhl")
    manifest.write_bytes(manifest.read_bytes().replace(b"cart", b"cast"))
    found = check_media(root)
    assert set(words(found).values()) == {"no usable hash"} and found.manifests[0].verdict == "changed"
    assert found.verdict == "does not match"


def test_a_broken_chain_where_all_files_match(root: Path) -> None:
    second = generation(root, entry("b.mov", b"12", action="verified"))
    second.unlink()
    found = check_media(root)
    assert (found.verdict, set(words(found).values())) == ("manifest not intact", {"matches"})


def test_an_unreadable_file(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = os.open

    def fails(path: object, *more: object) -> int:
        if str(path).endswith("b.mov"):
            raise OSError(5, "Input/output error")
        return before(path, *more)  # type: ignore[arg-type]

    monkeypatch.setattr(read_hashes.os, "open", fails)
    found = check_media(root)
    assert words(found) == {"b.mov": "cannot be read", "Clips/a.mov": "matches"}
    assert (found.verdict, found.files[0].text) == ("does not match", "Input/output error")


def test_a_manifest_that_names_nothing_here_proves_nothing(tmp_path: Path) -> None:
    root = card(tmp_path / "A", a_mov=b"1")
    generation(root, ignore=["*.mov"])
    assert check_media(root).verdict == "nothing compared"


def test_a_named_manifest_is_compared_with_instead(root: Path, tmp_path: Path) -> None:
    given = tmp_path / "mailed.mhl"
    given.write_bytes(hash_list([entry("b.mov", b"12"), entry("Clips/a.mov", b"abd")]))
    found = check_media(root, given)
    assert words(found) == {"b.mov": "matches", "Clips/a.mov": "differs"}
    assert [(m.path, m.verdict) for m in found.manifests] == [(str(given), "alone")]


def test_cards_side_by_side_have_each_their_own(root: Path, tmp_path: Path) -> None:
    sealed(card(tmp_path / "B", a_mov=b"x"), "md5")
    card(tmp_path, loose_mov=b"1")
    assert words(check_media(tmp_path)) == {
        "loose.mov": "not in the manifest",
        "A/Clips/a.mov": "matches",
        "A/b.mov": "matches",
        "B/a.mov": "matches",
    }


def test_a_delivery_matches_the_manifest_that_rushlight_wrote_of_it(tmp_path: Path) -> None:
    root = card(tmp_path / "out", editorial__a_mov=b"abc", log__jobs_jsonl=b"{}")
    data = b"abc"
    file = ManifestFile(path="editorial/a.mov", size=3, mtime_ns=0, xxh128=HASH["xxh128"](data))
    write_manifest(
        root,
        [file],
        when=datetime(2026, 11, 27, tzinfo=UTC),
        host="cart",
        version="1",
        retired="log/manifests",
        ignore=("log/",),
    )
    assert words(check_media(root)) == {"editorial/a.mov": "matches", "log/": "ignored"}
    assert check_media(root).verdict == "all match"


# --- what it does to the disk


def test_nothing_is_written_beside_originals(root: Path, tmp_path: Path) -> None:
    """Neither files nor folders change, not in name, size, content, owner or any time but that of access."""

    def snapshot() -> dict[str, object]:
        return {
            str(p): (
                s.st_mode,
                s.st_size,
                s.st_mtime_ns,
                s.st_ctime_ns,
                s.st_ino,
                s.st_uid,
                p.read_bytes() if p.is_file() else b"",
            )
            for p in (tmp_path, *sorted(tmp_path.rglob("*")))
            if (s := p.lstat())
        }

    (root / "b.mov").write_bytes(b"13")
    before = snapshot()
    check_media(root)
    check_media(tmp_path)
    check_media(root, root / "ascmhl")
    assert snapshot() == before


def test_files_are_opened_to_be_read_and_originals_once(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[tuple[str, int]] = []
    before = os.open

    def noted(path: object, flags: int, *more: object, **named: object) -> int:
        opened.append((Path(str(path)).name, flags))
        return before(path, flags, *more, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "open", noted)
    check_media(root)
    assert sorted(name for name, _ in opened if name.endswith(".mov")) == ["a.mov", "b.mov"]
    assert not any(flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT) for _, flags in opened)


def test_progress_ends_with_all_bytes(root: Path) -> None:
    told: list[Progress] = []
    check_media(root, on_progress=told.append)
    assert (told[-1].done, told[-1].bytes) == (5, 5) and {t.path for t in told} == {"Clips/a.mov", "b.mov"}
