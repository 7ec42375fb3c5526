"""Many days of handing over, with everything that happens in between: whoever takes in every delivery has what there is."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest

from handed import deliver
from rushlight.batch.check.check_media import check_media
from rushlight.batch.handover import hand_over as handing
from rushlight.batch.handover.hand_over import Asked, hand_over
from rushlight.batch.job_log import latest, read_log
from rushlight.batch.what_is_there import still_there
from rushlight.pipelines.errors import RushlightError

STEPS = ("bring", "write_tables", "write_grades", "write_record", "_sealed", "add_handover")


class Struck(Exception):
    """The process ends here."""


class Days:
    """An output folder to which things happen, and a receiver who does what the letters say."""

    def __init__(self, folder: Path, dice: random.Random) -> None:
        self.out, self.to, self.dice = folder / "out", folder / "to", dice
        self.has: dict[str, bytes] = {}  # the receiver
        self.seen: set[str] = set()
        self.count = 0

    def bytes(self) -> bytes:
        self.count += 1
        return f"{self.count}".encode() * self.dice.randint(1, 50)

    def deliver(self) -> None:
        """A clip is new, or made anew: with new bytes in some outputs, under other names, or without one of them."""
        job = f"C{self.dice.randrange(5)}"
        before = latest(read_log(self.out).records).get(job)
        files, revision = {}, (before.revision if before else 0) + 1
        replaced = []
        for output in ("editorial", "viewing"):
            old = next((e for e in before.outputs if e.output == output), None) if before else None
            what = self.dice.choice(
                ("new", "same", "same", "renamed", "none") if old else ("new", "new", "none")
            )
            if what == "none" or (old and what != "new" and not still_there(self.out, old)):
                continue
            data = self.bytes() if what == "new" or not old else (self.out / old.path).read_bytes()
            path = old.path if old and what != "renamed" else f"{output}/{job} {self.count}.mov"
            files[path] = data
            if old and what == "new":
                replaced.append(
                    {"output": output, "path": old.path, "revision": old.revision, "kept": "", "why": f"why {self.count}"}
                )  # fmt: skip
        if before:
            for entry in before.outputs:
                (self.out / entry.path).unlink(missing_ok=True)
        deliver(self.out, job, files, revision=revision, replaced=replaced)

    def damage(self) -> None:
        """A file loses its bytes. (By another file in its place: what was handed over as a link stays.)"""
        files = [p for p in self.out.rglob("*.mov") if p.is_file()]
        if files:
            file = self.dice.choice(files)
            data = file.read_bytes()
            file.unlink()
            if self.dice.random() < 0.7:
                file.write_bytes(bytes(len(data)))

    def hand_over(self, put: pytest.MonkeyPatch) -> None:
        """With an end in the middle now and then, and then once more."""
        asked = Asked(
            out=self.out,
            name="editor",
            to=self.to,
            whole=self.dice.random() < 0.2,
            copy=self.dice.random() < 0.5,
        )
        if self.dice.random() < 0.4:
            step, at = self.dice.choice(STEPS), self.dice.randint(1, 3)
            real, calls = getattr(handing, step), []

            def struck(*given: Any, **options: Any) -> Any:
                calls.append(step)
                if len(calls) == at:
                    raise Struck
                return real(*given, **options)

            with put.context() as patch:
                patch.setattr(handing, step, struck)
                try:
                    hand_over(asked)
                except (Struck, RushlightError):
                    pass
        try:
            hand_over(asked)
        except RushlightError as error:
            assert "no file" in str(error) or "nothing was rendered" in str(error), error

    def receive(self) -> None:
        """Every delivery once, in order of its number."""
        for folder in sorted(self.to.iterdir()) if self.to.is_dir() else ():
            assert not folder.name.startswith("."), "what was cut short is cleared away"
            if folder.name in self.seen:
                continue
            self.seen.add(folder.name)
            found = handing.read_handovers(self.out)[0]
            closed = next(h for h in found if h.folder == folder.name)
            for gone in closed.gone:
                self.has.pop(gone.path)
            for file in closed.files:
                self.has[file.path] = (folder / file.path).read_bytes()

    def held(self) -> None:
        """The receiver has each file of the folder that is as it was made, and no other but of those that are not."""
        entries = [e for r in latest(read_log(self.out).records).values() for e in r.outputs]
        good = {e.path: (self.out / e.path).read_bytes() for e in entries if still_there(self.out, e)}
        bad = {e.path for e in entries} - good.keys()
        assert {path: data for path, data in self.has.items() if path not in bad} == good
        for folder in self.to.iterdir():
            assert check_media(folder).verdict == "all match", folder


@pytest.mark.parametrize(
    "seed", [*range(4), *(pytest.param(n, marks=pytest.mark.slow) for n in range(4, 100))]
)
def test_who_takes_in_every_delivery_has_what_there_is(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    days = Days(tmp_path, random.Random(seed))
    days.deliver()
    for _ in range(12):
        for _ in range(days.dice.randint(0, 3)):
            days.damage() if days.dice.random() < 0.15 else days.deliver()
        days.hand_over(monkeypatch)
        days.receive()
    if days.to.is_dir():
        days.held()
