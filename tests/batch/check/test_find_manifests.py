"""Manifests where they lie: held to their chains and to one another, or named."""

from collections.abc import Callable
from pathlib import Path

import pytest

from manifests import c4_of, card, chain, entry, generation, hash_list, sealed
from rushlight.batch.check.find_manifests import FoundManifests, beside, named
from rushlight.pipelines.errors import ManifestError


def words(found: FoundManifests) -> dict[str, str]:
    return {m.path: m.verdict for m in found.manifests}


def usable(found: FoundManifests) -> dict[str, bool]:
    return {h.outside(p): e.hash is not None for h in found.histories for p, e in h.files.items()}


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """A card of two generations."""
    root = card(tmp_path / "A", a_mov=b"1")
    sealed(root)
    generation(root, entry("a.mov", b"1", action="verified"), entry("b.mov", b"2"))
    return root


FIRST, SECOND = "ascmhl/0001_A_2026-11-27_010201Z.mhl", "ascmhl/0002_A_2026-11-27_010202Z.mhl"


def test_a_history_that_is_as_its_chain_says(root: Path) -> None:
    found = beside(root, [""])
    assert words(found) == {FIRST: "intact", SECOND: "intact"}
    assert usable(found) == {"a.mov": True, "b.mov": True}
    first = found.manifests[0]
    assert (first.files, first.made, first.maker) == (
        1,
        "2026-11-27T01:02:03+00:00",
        "tests 1",
    )


def test_a_manifest_that_was_changed(root: Path) -> None:
    path = root / SECOND
    path.write_bytes(path.read_bytes().replace(b"cart", b"cast"))
    found = beside(root, [""])
    assert words(found) == {FIRST: "intact", SECOND: "changed"}
    assert usable(found) == {"a.mov": True, "b.mov": False}


def test_a_manifest_that_the_chain_names_is_gone(root: Path) -> None:
    (root / FIRST).unlink()
    found = beside(root, [""])
    assert words(found) == {FIRST: "missing", SECOND: "intact"}


def test_a_manifest_that_the_chain_does_not_name(root: Path) -> None:
    (root / "ascmhl" / "0003_A.mhl").write_bytes(hash_list([entry("c.mov", b"3")]))
    found = beside(root, [""])
    assert words(found)["ascmhl/0003_A.mhl"] == "not in the chain"
    assert usable(found) == {"a.mov": True, "b.mov": True, "c.mov": False}


def test_a_history_without_a_chain(root: Path) -> None:
    (root / "ascmhl" / "ascmhl_chain.xml").unlink()
    found = beside(root, [""])
    assert words(found) == {FIRST: "no chain", SECOND: "no chain"}
    assert usable(found) == {"a.mov": False, "b.mov": False}


def test_a_chain_that_does_not_read(root: Path) -> None:
    (root / "ascmhl" / "ascmhl_chain.xml").write_text("<cut")
    found = beside(root, [""])
    assert words(found) == {"ascmhl/ascmhl_chain.xml": "not read", FIRST: "no chain", SECOND: "no chain"}
    assert "line 1: is not whole XML" in found.manifests[0].text


def test_a_manifest_that_does_not_read_costs_its_own_files(root: Path) -> None:
    (root / SECOND).write_text('<hashlist version="1.1"><hash><file>a.mov</file></hash></hashlist>')
    chain(root / "ascmhl")
    found = beside(root, [""])
    assert words(found) == {FIRST: "intact", SECOND: "not read"}
    assert "is MHL 1.1" in found.manifests[1].text and usable(found) == {"a.mov": True}


def test_a_folder_of_a_history_that_is_empty(tmp_path: Path) -> None:
    (tmp_path / "ascmhl").mkdir()
    (tmp_path / "ascmhl" / "._0001_x.mhl").write_bytes(b"\0\5\x16\7")  # what other systems leave is none
    assert words(beside(tmp_path, [""])) == {"ascmhl": "missing"}


def test_a_manifest_that_is_a_link_is_not_followed(root: Path) -> None:
    (root / SECOND).rename(root / "elsewhere")
    (root / SECOND).symlink_to(root / "elsewhere")
    assert words(beside(root, [""]))[SECOND] == "not read"


# --- nested histories


@pytest.fixture
def reels(tmp_path: Path) -> Path:
    """Two cards with histories of their own, and one of the folder that holds them, which refers to both."""
    reels = tmp_path / "Reels"
    below = [sealed(card(reels / name, a_mov=name.encode())) for name in ("A", "B")]
    card(reels, Summary_txt=b"two cards")
    generation(
        reels,
        entry("Summary.txt", b"two cards"),
        references={p.relative_to(reels).as_posix(): c4_of(p.read_bytes()) for p in below},
    )
    return reels


def test_references_hold(reels: Path) -> None:
    found = beside(reels, ["", "A", "B"])
    assert set(words(found).values()) == {"intact"} and len(found.manifests) == 3
    assert usable(found) == {"Summary.txt": True, "A/a.mov": True, "B/a.mov": True}


def test_a_manifest_that_is_not_the_one_referred_to(reels: Path) -> None:
    """Manifest and chain of a card were both made anew: only the history above knows."""
    (old,) = (reels / "A" / "ascmhl").glob("*.mhl")
    old.write_bytes(old.read_bytes().replace(b"cart", b"cast"))
    chain(old.parent)
    found = beside(reels, ["", "A", "B"])
    assert words(found)[old.relative_to(reels).as_posix()] == "changed"
    assert usable(found) == {"Summary.txt": True, "A/a.mov": False, "B/a.mov": True}


def test_a_history_that_is_referred_to_and_gone(reels: Path) -> None:
    found = beside(reels, ["", "B"])
    assert words(found)["A/ascmhl/0001_A_2026-11-27_010201Z.mhl"] == "missing"


def test_a_named_manifest_takes_the_histories_it_refers_to(reels: Path) -> None:
    (given,) = (reels / "ascmhl").glob("*.mhl")
    assert usable(named(reels, given)) == {"Summary.txt": True, "A/a.mov": True, "B/a.mov": True}
    (old,) = (reels / "B" / "ascmhl").glob("*.mhl")
    old.write_bytes(old.read_bytes().replace(b"cart", b"cast"))
    assert usable(named(reels, given)) == {"Summary.txt": True, "A/a.mov": True, "B/a.mov": False}
    old.unlink()
    assert set(words(named(reels, given)).values()) == {"intact", "missing"}


def test_a_history_that_refers_to_itself_ends(tmp_path: Path) -> None:
    root = card(tmp_path / "A", a_mov=b"1")
    given = generation(
        root, entry("a.mov", b"1"), references={"ascmhl/0001_A_2026-11-27_010201Z.mhl": c4_of(b"")}
    )
    assert set(words(named(root, given)).values()) == {"intact", "missing"}
    assert set(words(beside(root, [""])).values()) == {"changed"}


# --- named


def test_a_named_manifest_in_no_history_stands_alone(root: Path, tmp_path: Path) -> None:
    alone = tmp_path / "mailed.mhl"
    alone.write_bytes((root / FIRST).read_bytes())
    found = named(root, alone)
    assert words(found) == {str(alone): "alone"} and usable(found) == {"a.mov": True}


def test_a_named_manifest_is_held_to_the_chain_beside_it(root: Path) -> None:
    assert words(named(root, root / FIRST)) == {str(root / FIRST): "intact"}
    (root / FIRST).write_bytes((root / FIRST).read_bytes().replace(b"cart", b"cast"))
    found = named(root, root / FIRST)
    assert words(found) == {str(root / FIRST): "changed"} and usable(found) == {"a.mov": False}
    other = root / "ascmhl" / "other.mhl"
    other.write_bytes(hash_list([entry("a.mov", b"1")]))
    assert words(named(root, other)) == {str(other): "not in the chain"}


@pytest.mark.parametrize("folder", [lambda root: root, lambda root: root / "ascmhl"])
def test_a_named_folder_is_its_whole_history(folder: Callable[[Path], Path], root: Path) -> None:
    found = named(root, folder(root))
    assert words(found) == {str(root / FIRST): "intact", str(root / SECOND): "intact"}
    assert usable(found) == {"a.mov": True, "b.mov": True}


def test_what_is_no_manifest_is_refused_by_name(root: Path, tmp_path: Path) -> None:
    for path, said in (
        (tmp_path / "nowhere.mhl", "cannot be read: No such file"),
        (root / "a.mov", "is not whole XML"),
        (tmp_path, "holds no ASC MHL manifest"),
    ):
        with pytest.raises(ManifestError) as error:
            named(root, path)
        assert error.value.file == str(path) and said in str(error.value)


def test_backslashes_are_told(tmp_path: Path) -> None:
    root = card(tmp_path / "A", Clips__a_mov=b"1")
    generation(root, entry("Clips\\a.mov", b"1"))
    assert beside(root, [""]).notes == (f"{FIRST} is written with backslashes; they were read as /",)
