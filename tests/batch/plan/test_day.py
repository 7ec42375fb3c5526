"""A made-up day of 300 clips from five cameras, without pixels: every clip gets the decision its row of a truth table says."""

import datetime
import random
from pathlib import Path

from rushlight.batch.decisions.decision import GradeFiles
from rushlight.batch.decisions.grade_changes import ChangeRecord, Rolled
from rushlight.batch.decisions.grade_lookup import GradeBook, Wanted
from rushlight.pipelines.errors import GradeError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode

RATES = {"A": "24", "B": "24", "C": "24", "D": "48", "E": "24"}
KINDS = ("name", "suffix", "place", "record", "two", "other reel")


def test_every_clip_of_a_day_gets_the_decision_meant_for_it(tmp_path: Path) -> None:
    chance = random.Random(20260504)
    grades, changes, truth = (
        ["id,reel,timecode,scene,saturation"],
        ["date,timecode,rate,camera,saturation"],
        [],
    )
    grades.append(
        ",,,9,0.999"
    )  # the scene's default, below the record: never reached, as every camera has a record
    for camera, rate in RATES.items():
        held = 0.0
        for number in range(60):
            begin = f"{8 + number // 6:02}:{number % 6 * 10:02}:00:00"
            name, reel = f"{camera}001C{number:03}", f"{camera}001"
            own, set_at = 0.1 + chance.randrange(1, 8000) / 10000, chance.choice([-60, 3, 30])
            if number == 0 or chance.random() < 0.3:  # before it, while it rolls, or after the cut
                set_at = -60 if number == 0 else set_at
                seconds = (8 + number // 6) * 3600 + number % 6 * 600 + set_at
                label = f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}:00"
                value = 1 + chance.randrange(1, 9000) / 10000
                changes.append(f"2026-05-04,{label},24,{camera},{value}")
                before, held = held, value
            else:
                before, set_at = held, -60
            kind = chance.choice(KINDS)
            wanted: float | None = before if set_at == 30 else held
            if kind == "name":
                grades.append(f"{name}_260504_R1AB.mov,,,,{own}")
                wanted = own
            elif kind == "suffix":
                grades.append(f"{name[:4]}_{name[4:].lower()},,,,{own}")
                wanted = own
            elif kind == "place":
                grades.append(f",{reel.lower()},{begin[:-4]}7:00,,{own}")
                wanted = own
            elif kind == "two":
                grades += [f"{name},,,,{own}", f"{name}.MXF,,,,{own + 1}"]
                wanted = None
            elif kind == "other reel":  # a reloaded card's twin: its name, but not its reel
                grades.append(f"{name}_260504_R1AB,{camera}002,,,{own}")
            truth.append((camera, rate, name, reel, begin, wanted, kind))
    (tmp_path / "grades.csv").write_text("\n".join(grades) + "\n")
    (tmp_path / "changes.csv").write_text("\n".join(changes) + "\n")
    book = GradeBook([tmp_path], GradeFiles())
    record = ChangeRecord(book.changes)
    assert len(truth) == 300 and {t[-1] for t in truth} == set(KINDS)
    for camera, rate, name, reel, begin, wanted, kind in truth:
        start = Timecode.parse(begin, FrameRate.parse(rate))
        frames = 20 * start.rate.nominal
        clip = Wanted(
            names=(f"card/{name}_260504_R1AB.mov",), reel=reel, start=start, frames=frames, scene="9"
        )
        rolled = Rolled(start=start, date=datetime.date(2026, 5, 4), frames=frames, camera=camera)
        try:
            found = book.decision(clip, lambda rolled=rolled: record.decision(rolled))
            got = found.cdl.saturation if found and found.cdl else 0
        except GradeError:
            got = None
        assert got == wanted, (name, kind)
