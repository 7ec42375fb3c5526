"""Nights on disks of other systems: which take upper and lower case for one name, have no links, keep times in steps, and refuse
characters. Real ones where this machine can mount them, else what they would do."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from here import HereFarm, farm_here, files, run, small_day, write_list  # noqa: F401
from rushlight.batch.records.files import DeliveredMovie
from rushlight.batch.run import revisions
from test_revisions import BOTH, ROWS, made

STEPS = (
    100,
    1_000,
    10_000_000,
    1_000_000_000,
    2_000_000_000,
)  # ns: SMB and NTFS, some Unix, exFAT, HFS+, FAT
ROW = {"A001C001": ROWS["A001C001"]}

# How each file system is made and mounted: an image, its loop device, the folder.
MADE: dict[str, tuple[tuple[str, ...], ...]] = {
    "vfat": (("mkfs.vfat", "{image}"), ("mount", "-o", "loop", "{image}", "{at}")),
    "exfat": (("mkfs.exfat", "{image}"), ("mount", "-t", "exfat", "-o", "loop", "{image}", "{at}")),
    "exfat-fuse": (("mkfs.exfat", "{image}"), ("mount.exfat-fuse", "{loop}", "{at}")),
    "ntfs": (
        ("mkntfs", "-q", "-F", "{image}"),
        ("lowntfs-3g", "-o", "windows_names,ignore_case", "{image}", "{at}"),
    ),
    "ext4 casefold": (
        ("mkfs.ext4", "-q", "-O", "casefold", "-E", "encoding=utf8", "{image}"),
        ("mount", "-o", "loop", "{image}", "{at}"),
        ("chattr", "+F", "{at}/x"),
    ),
}


@pytest.fixture()
def disk(tmp_path: Path) -> Iterator[Callable[[str], tuple[Path, Callable[[], None]]]]:
    """`disk(kind)` is an empty folder on a new file system of that kind, and what unplugs it and plugs it in again."""
    image, at = tmp_path / "disk.img", tmp_path / "disk"
    loops: list[str] = []

    def mounted(command: tuple[str, ...]) -> None:
        if "{loop}" in command:
            found = subprocess.run(["losetup", "-f", "--show", image], capture_output=True, text=True)
            loops.append(found.stdout.strip())
        words = [w.format(image=image, at=at, loop=loops[-1] if loops else "") for w in command]
        done = subprocess.run(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, timeout=60)
        if done.returncode:
            pytest.skip(f"this machine does not do it: {' '.join(words[:4])}")

    def new(kind: str) -> tuple[Path, Callable[[], None]]:
        make, mount, *after = MADE[kind]
        if os.geteuid() or not (shutil.which(make[0]) and shutil.which(mount[0])):
            pytest.skip(f"needs root, {make[0]} and {mount[0]}")
        with image.open("wb") as stream:
            stream.truncate(64 << 20)
        at.mkdir()
        mounted(make)
        mounted(mount)
        (at / "x").mkdir()
        for command in after:
            mounted(command)

        def again() -> None:
            unmounted()
            mounted(mount)

        return at / "x", again

    def unmounted() -> None:
        subprocess.run(["umount", at], capture_output=True)
        while loops:
            subprocess.run(["losetup", "-d", loops.pop()], capture_output=True)

    yield new
    unmounted()


def as_one(out: Path) -> dict[str, bytes]:
    """What was delivered; such a disk may show names in lower case."""
    return {name.lower(): data for name, data in files(out, *BOTH).items()}


@pytest.mark.parametrize("kind", MADE)
def test_a_night_on_a_disk_of_another_system(
    kind: str,
    disk: Callable[[str], tuple[Path, Callable[[], None]]],
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    """The same bytes as on a disk of ours; nothing is made again, not after it was unplugged either; and what changes is replaced."""
    place, plugged_again = disk(kind)
    day = small_day(tmp_path / "day", {"A001C001": 4})
    write_list(day, ROW)
    shutil.copytree(day.parent, place / "day")
    command = ("--recipe", day.with_name("two.toml"), "--keep-free", "0")
    code, said = run("render", day, *command, "--out", tmp_path / "out")
    assert code == 0, said
    made(farm_here)
    there = ("render", place / "day" / "day.csv", *command, "--out", place / "out")
    code, said = run(*there)
    assert code == 0 and made(farm_here) == {"A001C001": set(BOTH)}, said
    assert as_one(place / "out") == as_one(tmp_path / "out")
    plugged_again()
    code, said = run(*there)
    assert code == 0 and made(farm_here) == {}, said
    write_list(place / "day" / "day.csv", {"A001C001": {**ROW["A001C001"], "slope": "1.2 1 1"}})
    code, said = run(*there)
    assert code == 0 and made(farm_here) == {"A001C001": set(BOTH)}, said
    kept = {p.name.upper() for p in (place / "out" / "revisions").rglob("*") if p.is_file()}
    assert kept == {"A001C001.MOV", "A001C001.MP4"}, said


@pytest.mark.parametrize("step", [STEPS[0], *(pytest.param(s, marks=pytest.mark.slow) for s in STEPS[1:])])
def test_a_share_that_keeps_times_in_steps_makes_nothing_again(
    step: int,
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    """Of originals and of what was delivered."""
    day, out = small_day(tmp_path / "day", {"A001C001": 4}), tmp_path / "out"
    write_list(day, ROW)
    command = ("render", day, "--recipe", day.with_name("two.toml"), "--out", out)
    assert run(*command)[0] == 0
    made(farm_here)
    for path in [*day.parent.rglob("*.mov"), *out.rglob("*.mov"), *out.rglob("*.mp4")]:
        cut = path.stat().st_mtime_ns // step * step
        os.utime(path, ns=(cut, cut))
    code, said = run(*command)
    assert code == 0 and made(farm_here) == {}, said


def test_an_old_name_that_is_the_new_ones_is_not_cleared(tmp_path: Path) -> None:
    """Two names of one file, as `a.mov` and `A.mov` are where case is ignored: the old one is the new file."""
    folder = tmp_path / "editorial"
    folder.mkdir()
    new = folder / "A.mov"
    new.write_bytes(b"new")
    os.link(new, folder / "a.mov")
    (folder / "b.mov").write_bytes(b"old")

    def entry(name: str) -> DeliveredMovie:
        info = (folder / name).stat()
        found = {"path": f"editorial/{name}", "bytes": info.st_size, "mtime_ns": info.st_mtime_ns}
        return DeliveredMovie.model_construct(**found)

    revisions.clear(tmp_path, [entry("a.mov"), entry("b.mov")], [entry("A.mov")])
    assert sorted(p.name for p in folder.iterdir()) == ["A.mov", "a.mov"]


BARE = """
import os
for name in ("memfd_create", "posix_fadvise", "sched_getaffinity", "sched_setaffinity", "copy_file_range", "O_TMPFILE", "O_PATH"):
    if hasattr(os, name):
        delattr(os, name)
"""
SPAWNED = (
    "import sys; from rushlight.batch.farm import child_processes; child_processes.POSSIBLE = False; "
    "from rushlight.batch.cli.start import main; sys.exit(main())"
)


@pytest.mark.slow
def test_a_night_without_what_only_linux_has_is_the_same(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    """As macOS has it: in every process the names are gone, and workers are spawned."""
    day = small_day(tmp_path / "day", {"A001C001": 60, "A001C002": 4})
    stills = '\n[[output]]\nname = "stills"\nmake = "stills"\nkinds = ["jpeg", "tiff16"]\n'
    recipe = day.with_name("two.toml")
    recipe.write_text(recipe.read_text() + stills)
    code, said = run("render", day, "--recipe", recipe, "--out", tmp_path / "out")
    assert code == 0, said
    (tmp_path / "bare").mkdir()
    (tmp_path / "bare" / "sitecustomize.py").write_text(BARE)
    words = ("render", day, "--recipe", recipe, "--out", tmp_path / "there", "--workers", 2)
    there = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", SPAWNED, *map(str, words)],
        env={**os.environ, "PYTHONPATH": str(tmp_path / "bare")},
        capture_output=True,
        text=True,
    )
    assert there.returncode == 0, there.stdout + there.stderr
    folders = (*BOTH, "stills")
    assert len(files(tmp_path / "out", *folders)) == 8
    assert files(tmp_path / "there", *folders) == files(tmp_path / "out", *folders)
