"""`plan --write`: a list that says everything itself plans to the same clips, looks and faults, with no grades beside it."""

from pathlib import Path

from command import rushlight
from pictures import numbered, write_movie
from rushlight.batch.prepare import prepare
from rushlight.batch.request import Request


def test_the_written_list_plans_alike(tmp_path: Path) -> None:
    for name in ("A001C001", "A001C002"):
        write_movie(tmp_path / f"{name}.mov", [numbered(n) for n in range(4)])
    (tmp_path / "day.csv").write_text(
        "clip,in,out,scene,mood\nA001C001.mov,1,3,7,calm\nA001C002.mov,,,,\nnone.mov,,,,\nA001C001.mov,3,4,8,\n"
    )
    (tmp_path / "g.csv").write_text(
        "id,slope,offset,saturation\nA001C001,1.1 1 0.95,0.1 0.2 -0.0300000001,0.9\n"
    )
    (tmp_path / "elsewhere").mkdir()
    written = tmp_path / "elsewhere" / "full.csv"
    ran = rushlight(
        "plan",
        tmp_path / "day.csv",
        "--grades",
        tmp_path / "g.csv",
        "--encoding",
        "v-log",
        "--write",
        written,
    )
    assert written.exists(), ran
    was = prepare(
        Request(clip_list=tmp_path / "day.csv", grades=(tmp_path / "g.csv",), encoding="v-log")
    ).plan
    now = prepare(Request(clip_list=written)).plan

    def told(plan: object) -> list[tuple[object, ...]]:
        return [
            (
                c.path,
                c.first,
                c.count,
                c.timecode,
                c.reel,
                c.look.identity(),
                c.signal.levels,
                c.signal.chroma,
                c.row["scene"],
                c.row["mood"],
            )
            for c in plan.clips  # type: ignore[attr-defined]
        ]

    assert told(now) == told(was) and len(now.clips) == 3
    assert [row.clip for row, _ in now.wrong] == ["none.mov"]
    before = written.read_bytes()
    again = rushlight("plan", written, "--write", written)
    assert written.read_bytes() == before
    assert "a new file is needed" in str(again)
