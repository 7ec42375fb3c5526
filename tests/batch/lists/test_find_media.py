"""Names: clips found where they are, never outside; files named so that every system takes them."""

import unicodedata
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.lists.find_media import MediaIndex, resolve_clip
from rushlight.pipelines.errors import ListError, RushlightError, SourceError


def test_places(tmp_path: Path) -> None:
    for name in ("list/a.mov", "card1/CLIPS/b.mov", "card2/b.mov", "card1/c.mov", "card2/seq/x.0001.dpx"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(b"x")
    media = MediaIndex([tmp_path / "card1", tmp_path / "card2"])
    base = tmp_path / "list"
    assert resolve_clip("a.mov", base, media) == base / "a.mov"
    assert resolve_clip("CLIPS/b.mov", base, media) == tmp_path / "card1/CLIPS/b.mov"
    assert resolve_clip("CLIPS\\b.mov", base, media) == tmp_path / "card1/CLIPS/b.mov"
    assert resolve_clip("c", base, media) == tmp_path / "card1/c.mov"
    assert resolve_clip("seq", base, media) == tmp_path / "card2/seq"
    assert resolve_clip("seq/x.####.dpx", base, media) == tmp_path / "card2/seq/x.####.dpx"
    assert resolve_clip(str(base / "a.mov"), Path("/"), media) == base / "a.mov"
    with pytest.raises(SourceError, match="looked in"):
        resolve_clip("nothere.mov", base, media)
    with pytest.raises(ListError, match="leads out"):
        resolve_clip("../card1/c.mov", base, media)


@pytest.mark.parametrize(("disk", "written"), [("NFC", "NFD"), ("NFD", "NFC")])
def test_an_accent_is_one_code_or_two(tmp_path: Path, disk: str, written: str) -> None:
    """As of a card copied by one system and a list typed on another: beside the list, by its path, and below --media."""
    there = unicodedata.normalize(disk, "Café/Prise é.mov")
    place = tmp_path / "cards" / there
    place.parent.mkdir(parents=True)
    place.touch()
    typed = unicodedata.normalize(written, "Café/Prise é.mov")
    assert typed != there
    nothing, media = MediaIndex([]), MediaIndex([tmp_path / "cards"])
    assert resolve_clip(typed, tmp_path / "cards", nothing) == place
    assert resolve_clip(str(tmp_path / "cards" / typed), Path("/"), nothing) == place
    for name in (typed, typed.rpartition("/")[2], typed.rpartition("/")[2].removesuffix(".mov")):
        assert resolve_clip(name, tmp_path, media) == place
    assert resolve_clip("D:\\" + typed.replace("/", "\\").upper(), tmp_path, media) == place


def test_two_spellings_of_a_name_side_by_side_are_two_files(tmp_path: Path) -> None:
    composed, apart = (unicodedata.normalize(form, "é.mov") for form in ("NFC", "NFD"))
    for name in (composed, apart):
        (tmp_path / name).touch()
        assert resolve_clip(name, tmp_path, MediaIndex([])) == tmp_path / name
    with pytest.raises(ListError, match="2 originals"):
        resolve_clip("é", tmp_path / "none", MediaIndex([tmp_path]))


def test_a_windows_drive_is_looked_for_under_media(tmp_path: Path) -> None:
    for card in ("A001", "A002"):
        (tmp_path / card / "Clips").mkdir(parents=True)
        (tmp_path / card / "Clips" / "c1.mov").touch()
    media = MediaIndex([tmp_path])
    assert resolve_clip(r"D:\A002\clips\C1.mov", tmp_path, media) == tmp_path / "A002/Clips/c1.mov"
    with pytest.raises(ListError, match="fits 2 originals alike"):
        resolve_clip(r"D:\Clips\c1.mov", tmp_path, media)
    with pytest.raises(SourceError, match="no original of that name"):
        resolve_clip(r"D:\Clips\c2.mov", tmp_path, media)
    with pytest.raises(ListError, match="leads out"):
        resolve_clip(r"D:\Clips\..\c1.mov", tmp_path, media)


def test_a_bare_name_found_twice_is_an_error_naming_both(tmp_path: Path) -> None:
    for name in ("one/deep/b.mov", "two/deep/b.mov"):
        (tmp_path / name).parent.mkdir(parents=True)
        (tmp_path / name).write_bytes(b"x")
    media = MediaIndex([tmp_path])
    with pytest.raises(ListError, match=r"one.*two"):
        resolve_clip("b.mov", tmp_path, media)


def test_links_that_go_round_are_not_followed(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "a" / "loop").symlink_to(tmp_path)
    (tmp_path / "a" / "b.mov").write_bytes(b"x")
    assert resolve_clip("b.mov", tmp_path / "none", MediaIndex([tmp_path])) == tmp_path / "a" / "b.mov"


@given(st.text(max_size=60))
def test_any_clip_is_found_or_one_clear_error(clip: str) -> None:
    try:
        resolve_clip(clip, Path("/nonexistent"), MediaIndex([]))
    except RushlightError:
        pass


def test_a_pattern_is_looked_for_in_every_folder_below(tmp_path: Path) -> None:
    for name in (
        "card1/DEEP/C_001.mov",
        "card1/DEEP/C_002.mov",
        "card2/D_1.mov",
        "card3/D_1.mov",
        "card2/C_x.mov",
    ):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()
    media = MediaIndex([tmp_path])
    assert resolve_clip("C_###.mov", tmp_path / "none", media) == tmp_path / "card1/DEEP/C_###.mov"
    with pytest.raises(ListError, match=r"2 originals.*card2.*card3"):
        resolve_clip("D_#.mov", tmp_path / "none", media)
    with pytest.raises(SourceError, match="looked in"):
        resolve_clip("E_#.mov", tmp_path / "none", media)


def test_what_was_delivered_below_media_is_no_twin(tmp_path: Path) -> None:
    for name in ("card/b.mov", "out/editorial/b.mov", "new/editorial/b.mov", "out/log/jobs.jsonl"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()
    media = MediaIndex([tmp_path], leave_out=[tmp_path / "new"])
    assert resolve_clip("b.mov", tmp_path / "none", media) == tmp_path / "card/b.mov"


def test_the_end_of_a_path_is_looked_for_below_media(tmp_path: Path) -> None:
    for name in ("day1/A001/CLIPS/c1.mov", "day1/A002/CLIPS/c1.mov", "day2/A001/c1.mxf"):
        (tmp_path / name).parent.mkdir(parents=True)
        (tmp_path / name).touch()
    media = MediaIndex([tmp_path])
    assert resolve_clip("a002/clips/C1.mov", tmp_path / "none", media) == tmp_path / "day1/A002/CLIPS/c1.mov"
    assert resolve_clip("A001/CLIPS/c1", tmp_path / "none", media) == tmp_path / "day1/A001/CLIPS/c1.mov"
    assert resolve_clip("A001/c1", tmp_path / "none", media) == tmp_path / "day2/A001/c1.mxf"
    with pytest.raises(ListError, match="2 originals"):
        resolve_clip("CLIPS/c1.mov", tmp_path / "none", media)
    with pytest.raises(SourceError, match="looked in"):
        resolve_clip("A003/c1.mov", tmp_path / "none", media)
