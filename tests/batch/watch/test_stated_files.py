"""What a card's manifests state, and when nothing they say is used."""

from __future__ import annotations

from pathlib import Path

import pytest

from manifests import card, sealed
from rushlight.batch.watch.card_files import CardPlace, files_of_card
from rushlight.batch.watch.stated_files import manifests_among, stated_sizes


@pytest.fixture
def root(tmp_path: Path) -> Path:
    root = card(tmp_path / "A001", Clip__a_mov=b"one", b_mov=b"three")
    sealed(root)
    return root


def stated(root: Path) -> object:
    return stated_sizes(root, manifests_among(files_of_card(CardPlace(folder=root))))


def test_sizes_by_name(root: Path) -> None:
    assert stated(root) == {"Clip/a.mov": 3, "b.mov": 5}


def test_a_manifest_of_a_folder_on_the_card_names_from_there(tmp_path: Path) -> None:
    sealed(card(tmp_path / "A001" / "Clip", a_mov=b"one"))
    assert stated(tmp_path / "A001") == {"Clip/a.mov": 3}


def test_one_that_is_not_as_its_chain_has_it_says_nothing(root: Path) -> None:
    (manifest,) = (root / "ascmhl").glob("*.mhl")
    manifest.write_bytes(manifest.read_bytes().replace(b'size="3"', b'size="2"'))
    assert stated(root) is None


def test_one_that_is_still_being_written_says_nothing(root: Path) -> None:
    (manifest,) = (root / "ascmhl").glob("*.mhl")
    manifest.write_bytes(manifest.read_bytes()[:200])
    assert stated(root) is None
    (root / "ascmhl" / "ascmhl_chain.xml").unlink()
    assert stated(root) is None


def test_one_without_sizes_says_nothing(root: Path) -> None:
    from manifests import chain

    (manifest,) = (root / "ascmhl").glob("*.mhl")
    manifest.write_bytes(manifest.read_bytes().replace(b' size="3"', b""))
    chain(root / "ascmhl")
    assert stated(root) is None


def test_a_card_without_a_manifest(tmp_path: Path) -> None:
    assert stated(card(tmp_path / "A001", a_mov=b"one")) is None
