"""Folders of originals as lists, and as what the media hold."""

from pathlib import Path

from rushlight.batch.lists.folder_list import find_originals, read_folder


def touch(folder: Path, *names: str) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for name in names:
        (folder / name).write_bytes(b"")


def test_a_raw_clip_of_a_file_a_frame_is_one_original(tmp_path: Path) -> None:
    touch(tmp_path / "F001C019", *(f"F001C019_{n:06d}.dng" for n in range(40)), "F001C019.wav")
    touch(tmp_path / "both", *(f"X.{n:03d}.ari" for n in range(3)), *(f"X.{n:03d}.dpx" for n in range(3)))
    touch(tmp_path / "two", *(f"{clip}_{n}.DNG" for clip in "PQ" for n in range(3)), "alone.dng")
    touch(tmp_path / "clips", "A001_C001.braw", "A001_C002.braw")  # a file a clip: they are two
    found = find_originals([tmp_path])
    names = [path.relative_to(tmp_path).as_posix() for path in found.raw]
    assert sorted(names) == [
        "F001C019", "both/X.#.ari", "clips/A001_C001.braw", "clips/A001_C002.braw", "two/P_#.DNG", "two/Q_#.DNG",
        "two/alone.dng",
    ]  # fmt: skip
    assert found.originals == (tmp_path / "both",) and found.ignored == 1
    assert len(read_folder(tmp_path).rows) == 8
