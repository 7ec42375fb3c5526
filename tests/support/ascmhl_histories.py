"""Histories made and judged by the standard's own package, ascmhl, in a process of its own: its imports warn, and it writes
to the terminal. `python ascmhl_histories.py FOLDER FIRST COUNT` makes histories by number and prints a line of JSON for each:
what it says of it; `python ascmhl_histories.py --judge FOLDER...` what it says of these."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from random import Random

KINDS = ("md5", "sha1", "xxh64", "xxh3", "xxh128", "c4")
NAMES = (
    "a.mov",
    "b.mov",
    "Clips/c.mov",
    "Clips/prise é.mov",
    "Clips/x/d & e.mov",
    "A/f.mov",
    "A/g.mov",
    "A/x/h.mov",
)
ENDS = (
    "nothing", "flip", "cut", "remove", "add", "move", "ignored", "manifest", "manifest gone", "chain gone", "empty folder gone",
    "several",
)  # fmt: skip


def made(root: Path, rng: Random) -> str:
    """A folder with its history, and what was done to it in the end."""
    from ascmhl import commands

    def seal(folder: Path, *, renamed: bool = False, ignore: tuple[str, ...] = ()) -> None:
        kinds = rng.sample(KINDS, rng.choice((1, 1, 1, 2)))
        no_folders = rng.random() < 0.3
        commands.create_for_folder_subcommand(
            str(folder), False, renamed, kinds, no_folders, None, None, None, None, None, None, list(ignore)
        )

    for name in rng.sample(NAMES, rng.randint(1, len(NAMES))):
        _write(root / name, rng)
    if rng.random() < 0.3:
        (root / "Empty").mkdir(parents=True)
    ignore = ("*.tmp",) if rng.random() < 0.3 else ()
    if ignore:
        _write(root / "a.tmp", rng)
    nested = (root / "A").is_dir() and rng.random() < 0.6
    if nested:
        seal(root / "A")
    renamed = False
    for step in range(rng.randint(1, 3)):
        what = rng.choice(("nothing", "add", "rename")) if step else "nothing"
        if what == "add":
            _write(root / rng.choice(("", "Clips/")) / f"new{step}.mov", rng)
        elif what == "rename" and not renamed and not nested:
            old = rng.choice(_files(root))
            old.rename(old.with_name(f"renamed {old.name}"))
            renamed = True
        try:
            seal(root, renamed=what == "rename", ignore=ignore)
        except AssertionError:  # it cannot add a hash of another kind to a file that was renamed
            break
    end = rng.choice(ENDS)
    _spoil(root, end, rng)
    return end


def _write(path: Path, rng: Random) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(rng.randbytes(rng.randint(1, 40)))


def _files(root: Path) -> list[Path]:
    every = sorted(p for p in root.rglob("*") if p.is_file() and "ascmhl" not in p.parts)
    return [p for p in every if p.suffix != ".tmp"]


def _spoil(root: Path, end: str, rng: Random) -> None:
    files = _files(root)
    path = rng.choice(files)
    manifests = sorted(root.rglob("*.mhl"))
    if end in ("flip", "several"):
        data = bytearray(path.read_bytes())
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
        path.write_bytes(data)
    elif end == "cut":
        path.write_bytes(path.read_bytes()[:-1])
    elif end == "remove":
        path.unlink()
    elif end == "move":
        path.rename(path.with_name("moved.mov"))
    elif end == "manifest":
        one = rng.choice(manifests)
        one.write_bytes(one.read_bytes().replace(b"<tool", b"<tool ", 1))
    elif end == "manifest gone":
        rng.choice(manifests).unlink()
    elif end == "chain gone":
        rng.choice(sorted(root.rglob("ascmhl_chain.xml"))).unlink()
    elif end == "empty folder gone" and (root / "Empty").is_dir():
        (root / "Empty").rmdir()
    elif end == "ignored":
        _write(root / "Clips" / "b.tmp", rng)
    if end in ("add", "several"):
        _write(root / "Clips" / "added.mov", rng)
    if end == "several" and len(files) > 2:
        next(p for p in files if p != path).unlink()


def judged(root: Path) -> dict[str, object]:
    """The package's verdict: its exit code (of an error that it does not name, the error's), and the files that it names as
    new, differing or missing."""
    import click
    from ascmhl import commands, logger

    said: list[str] = []
    logger.error = logger.info = logger.verbose = lambda text, *more: said.append(str(text))
    code: int | str = 0
    try:
        commands.verify_entire_folder(str(root), False, None, None)
    except click.ClickException as error:
        code = error.exit_code
    except Exception as error:
        code = type(error).__name__
    found: dict[str, list[str]] = {"new": [], "differs": [], "missing": []}
    for text in said:
        if text.startswith("found new file "):
            found["new"].append(text.removeprefix("found new file "))
        elif "hash mismatch" in text:
            found["differs"].append(text.partition(" for ")[2].rpartition(" old ")[0])
        elif text.startswith("  ") and "should have hash" not in text and "has hash" not in text:
            found["missing"].append(text.strip())
    logger.error = logger.info = logger.verbose = lambda *text: None
    return {"code": code, **{word: sorted(names) for word, names in found.items()}}


def main(words: list[str]) -> None:
    from ascmhl import logger

    logger.error = logger.info = logger.verbose = lambda *text: None
    if words[0] == "--judge":
        for root in words[1:]:
            print(json.dumps(judged(Path(root))), flush=True)
        return
    for number in range(int(words[1]), int(words[1]) + int(words[2])):
        place = Path(words[0]) / f"{number}" / "card"
        place.mkdir(parents=True)
        end = made(place, Random(number))
        print(json.dumps({"root": str(place), "end": end, **judged(place)}), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
