"""Whatever stands at the final name of a new file is kept, recorded and said, whoever made it and whatever the log knows of it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from here import HereFarm, farm_here, files, run, small_day, write_list  # noqa: F401
from logged import latest, read_records
from rushlight.batch.job_log import LOG

MOVIE = "editorial/A001C001.mov"
STILLS = '[[output]]\nname = "stills"\nmake = "stills"\nkinds = ["jpeg"]\nsize = "128x72"\n'


class Day:
    """One clip, and recipes of one output each, into one folder."""

    def __init__(self, top: Path) -> None:
        self.list, self.out = small_day(top / "day", {"A001C001": 2}), top / "out"
        parts = (top / "day" / "two.toml").read_text().split("[[output]]")[1:]
        texts = {
            "ed": "[[output]]" + parts[0],
            "vi": "[[output]]" + parts[1],
            "stills": STILLS + 'at = ["first", "last"]\n',
        }
        self.recipes = {name: top / "day" / f"{name}.toml" for name in texts}
        for name, path in self.recipes.items():
            path.write_text(texts[name])
        self.graded("1")

    def graded(self, slope: str) -> None:
        cells = {"slope": f"{slope} 1 1", "offset": "0 0 0", "power": "1 1 1"}
        write_list(self.list, {"A001C001": cells})

    def words(self, recipe: str, *more: object) -> tuple[object, ...]:
        return ("render", self.list, "--recipe", self.recipes[recipe], "--out", self.out, *more)

    def render(self, recipe: str, *more: object) -> str:
        code, said = run(*self.words(recipe, *more))
        assert code == 0, said
        return said

    def record(self) -> dict[str, Any]:
        [record] = latest(read_records(self.out)).values()
        return record

    def kept(self) -> dict[str, bytes]:
        return files(self.out, "revisions")

    def space(self, *more: object) -> dict[str, Any]:
        code, said = run("space", self.out, "--json", *more)
        assert code == 0, said
        return json.loads(said)["folders"][0]  # type: ignore[no-any-return]

    def sums(self) -> dict[str, int]:
        """Number of files of each kind that are movies or stills' own."""
        found: dict[str, int] = {}
        for each in self.space()["holds"]:
            found[each["kind"]] = found.get(each["kind"], 0) + each["files"]
        return found


def verdicts(out: Path) -> list[Any]:
    """What `verify` measures of each file: the hash among it."""
    run("verify", out)
    [clip] = json.loads((out / "log" / "verify.json").read_text())["clips"]
    return [clip["verdict"], *sorted(map(str, clip["checks"])), *sorted(map(str, clip["files"]))]


@pytest.fixture
def day(tmp_path: Path, farm_here: HereFarm) -> Day:  # noqa: F811
    return Day(tmp_path)


def test_a_file_that_its_record_counts_no_more_is_kept(day: Day) -> None:
    day.render("ed")
    day.render("vi")
    first = files(day.out, "editorial", "viewing")
    day.graded("1.2")
    day.render("vi")
    assert any(text.startswith(f"no longer counted here: {MOVIE}") for text in day.record()["warnings"])
    assert day.sums()["former"] == 1
    said = " ".join(day.render("ed").split())
    assert "its clip's record counted it no longer; 1 file replaced, the old kept in revisions/1" in said
    assert day.kept() == {f"revisions/1/{path}": data for path, data in first.items()}
    record = day.record()
    [old] = record["replaced"]
    delivered = read_records(day.out)[0]["outputs"][0]
    assert (old["path"], old["kept"], old["hash"]) == (MOVIE, f"revisions/1/{MOVIE}", delivered["hash"])
    assert record["revision"] == 2 and {e["output"]: e["revision"] for e in record["outputs"]} == {
        "editorial": 2,
        "viewing": 2,
    }
    assert f"kept as revisions/1/{MOVIE}" in (day.out / "report" / "index.html").read_text()

    sums = day.sums()
    assert sums["revisions"] == 2 and not {"former", "other"} & set(sums)
    assert {each["path"] for each in day.space("--keep-revisions", 0)["may_go"]} == set(day.kept())
    other = day.out.parent / "other"  # of the last grade alone
    for recipe in ("vi", "ed"):
        assert run("render", day.list, "--recipe", day.recipes[recipe], "--out", other)[0] == 0
    assert verdicts(day.out) == verdicts(other)
    now = files(day.out, "editorial", "viewing", "revisions")
    code, said = run("render", "--from", day.out)
    assert code == 0 and files(day.out, "editorial", "viewing", "revisions") == now, said
    day.graded("1.4")
    day.render("ed")  # the next night goes on numbering
    assert set(day.kept()) == {*(f"revisions/1/{path}" for path in first), f"revisions/2/{MOVIE}"}
    assert day.kept().items() >= {f"revisions/1/{MOVIE}": first[MOVIE]}.items()


@pytest.mark.parametrize("recipe", ["ed", "stills"])
def test_files_whose_record_was_lost_are_kept_night_after_night(day: Day, recipe: str) -> None:
    """Each night without the log of those before; nothing under revisions/ takes another's place."""
    folder, every = {"ed": "editorial", "stills": "stills"}[recipe], set[bytes]()
    for night, slope in enumerate(("1", "1.2", "1.4"), 1):
        day.graded(slope)
        said = day.render(recipe)
        assert ("no record tells of it" in said) == (night > 1), said
        every |= set(files(day.out, folder).values())
        if night < 3:
            (day.out / LOG).unlink()
    now = files(day.out, folder)
    assert len(every) == 3 * len(now) and set(day.kept().values()) == every - set(now.values())
    assert set(day.kept()) == {f"revisions/{n}/{path}" for n in (1, 2) for path in now}
    record = day.record()
    assert record["revision"] == 3 and {r["kept"] for r in record["replaced"]} == set(day.kept())
    assert all(r["hash"].startswith("xxh3_128:") for r in record["replaced"])
    sums = day.sums()
    assert sums["revisions"] == len(day.kept()) and "other" not in sums
    assert len(day.space("--keep-revisions", 1)["may_go"]) == len(now)  # the older of two
    day.graded("1.6")
    day.render(recipe)  # with its log, a counted file goes beside them
    assert set(files(day.out, "revisions/3")) == {f"revisions/3/{path}" for path in now}
    code, said = run("space", day.out, "--keep-revisions", 0, "--remove")
    assert code == 0 and not day.kept() and len(files(day.out, folder)) == len(now), said


def test_a_foreign_file_and_one_of_another_job_are_kept(day: Day) -> None:
    (day.out / "editorial").mkdir(parents=True)
    (day.out / MOVIE).write_bytes(b"an editor's own")
    assert "no record tells of it; 1 file replaced, the old kept in revisions/1" in " ".join(
        day.render("ed").split()
    )
    assert day.kept() == {f"revisions/1/{MOVIE}": b"an editor's own"}
    log, first = day.out / LOG, (day.out / MOVIE).read_bytes()
    record = json.loads(log.read_text())
    log.write_text(json.dumps(record | {"job": "A001C001-of-another", "clip": "other.mov"}) + "\n")
    day.graded("1.2")
    assert "it was made of other.mov, by another job" in " ".join(day.render("ed").split())
    assert day.kept() == {
        f"revisions/1/{MOVIE}": b"an editor's own",
        f"revisions/2/{MOVIE}": first,
    }


def test_what_was_kept_is_removed_where_that_is_asked_and_said(day: Day) -> None:
    day.render("ed")
    day.render("vi")
    day.graded("1.2")
    day.render("vi")
    kept = day.kept()
    said = " ".join(day.render("ed", "--replaced", "remove").split())
    assert "its clip's record counted it no longer; 1 file replaced, the old removed" in said
    assert day.kept() == kept and [r["kept"] for r in day.record()["replaced"]] == [""]
    (day.out / LOG).unlink()
    day.graded("1.4")
    said = " ".join(day.render("ed", "--replaced", "remove").split())
    assert "no record tells of it; 1 file replaced, the old removed" in said
    assert day.kept() == kept


KILLED = """
import os, signal, sys
from rushlight.batch.farm import dask_farm as farms
from here import HereFarm, run
from rushlight.batch.finish import final_name
from rushlight.batch.run import delivery

def killed(*given, **more):
    os.kill(os.getpid(), signal.SIGKILL)

farms.DaskFarm = lambda **options: HereFarm()
module, name = sys.argv[1].split(".")
setattr(globals()[module], name, killed)
run(*sys.argv[2:])
"""


@pytest.mark.parametrize("lost", [False, True])
@pytest.mark.parametrize("moment", ["final_name.link", "final_name.move", "delivery.append_record"])
def test_a_kill_between_keeping_and_naming_loses_neither(day: Day, moment: str, lost: bool) -> None:
    """Killed before the old file is kept, between that and the new name, and before the record: then all is as without."""
    day.render("ed")
    day.render("vi")
    old = (day.out / MOVIE).read_bytes()
    day.graded("1.2")
    day.render("vi")
    if lost:
        (day.out / LOG).unlink()
    path = os.pathsep.join(p for p in sys.path if p)
    words = [sys.executable, "-W", "ignore", "-c", KILLED, moment, *map(str, day.words("ed"))]
    ended = subprocess.run(words, env={**os.environ, "PYTHONPATH": path}, capture_output=True, text=True)
    assert ended.returncode == -9, ended.stdout + ended.stderr
    assert old in files(day.out, "editorial", "revisions").values()
    said = " ".join(day.render("ed").split())
    assert ("no record tells of it" if lost else "counted it no longer") in said, said
    assert (day.out / MOVIE).read_bytes() != old
    assert [p for p, data in day.kept().items() if p.endswith("mov")] == [f"revisions/1/{MOVIE}"]
    assert day.kept()[f"revisions/1/{MOVIE}"] == old
    assert [r["kept"] for r in day.record()["replaced"]] == [f"revisions/1/{MOVIE}"]
