"""Paths under other names on other machines: out, back, and told apart by what is in a folder."""

import pickle
import threading
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recorded import movie, recorded
from rushlight.batch.farm.path_map import (
    Mount,
    PlacedJob,
    Unfit,
    awaited,
    homeward,
    original_there,
    outward,
    parse_mount,
    recognisable,
    seen_here,
)
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.pipelines.errors import DeliveryError, OptionError, SourceError


def test_what_is_stated() -> None:
    assert parse_mount("/Volumes/DAY/=/mnt//day") == Mount(here="/Volumes/DAY", there="/mnt/day")
    for text in ("", "/a", "a=/b", "/a=b", "=/b", "/a="):
        with pytest.raises(OptionError, match="HERE=THERE"):
            parse_mount(text)


@given(st.text(max_size=30))
def test_any_text_is_a_mount_or_an_error(text: str) -> None:
    try:
        found = parse_mount(text)
    except OptionError:
        return
    assert found.here.startswith("/") and found.there.startswith("/")


def test_out_and_back(tmp_path: Path) -> None:
    day, out = tmp_path / "there" / "day", tmp_path / "there" / "out"
    day.mkdir(parents=True)
    recognisable(out)
    (day / "A001.mov").write_text("x")
    mounts = [
        Mount(here="/Volumes", there="/nowhere"),
        Mount(here="/Volumes/DAY", there=str(day)),
        Mount(here="/Volumes/OUT", there=str(tmp_path / "empty")),
        Mount(here="/Volumes/OUT", there=str(out)),
    ]
    (tmp_path / "empty").mkdir()  # a mount point with nothing mounted
    row = {"note": "see /Volumes/DAY/A001.mov"}
    payload = PlacedJob.read(
        {
            "job": "a",
            "out": "/Volumes/OUT",
            "source": {"path": "/Volumes/DAY/A001.mov", "bytes": 1},
            "fields": row,
        }
    )
    moved = outward(payload, mounts)
    told = moved.plain()
    assert told["out"] == str(out) and told["source"] == {"path": str(day / "A001.mov"), "bytes": 1}
    assert told["fields"] == row  # what is burned in stays as it is
    made = {"index": 0, "files": [{"path": f"{out}/.work/a/0.mov", "bytes": 3}]}
    assert homeward(made, payload, moved)["files"] == [{"path": "/Volumes/OUT/.work/a/0.mov", "bytes": 3}]
    record = {"source": {"path": str(day / "A001.mov"), "bytes": 1}, "row": row}
    assert homeward(record, payload, moved)["source"]["path"] == "/Volumes/DAY/A001.mov"
    error = homeward(SourceError("does not decode", file=str(day / "A001.mov")), payload, moved)
    assert str(error) == "/Volumes/DAY/A001.mov: does not decode"
    assert homeward(None, payload, moved) is None
    beside = payload.model_copy(update={"out": "/Volumes/OUTER"})
    with pytest.raises(Unfit):  # not under /Volumes/OUT
        outward(beside, mounts)


def test_production_sound_goes_along(tmp_path: Path) -> None:
    recognisable(tmp_path)
    (tmp_path / "sound").mkdir()
    for name in ("T1.wav", "T2.wav"):
        (tmp_path / "sound" / name).write_text("x")
    parts = [[{"path": f"/Volumes/SR/{name}", "bytes": 1}] for name in ("T1.wav", "T2.wav")]
    payload = PlacedJob.read(
        {"out": str(tmp_path), "production": {"parts": parts, "start": "5", "step": "1"}}
    )
    moved = outward(payload, [Mount(here="/Volumes/SR", there=str(tmp_path / "sound"))])
    told = moved.plain()["production"]
    assert (
        told["parts"][1] == [{"path": str(tmp_path / "sound" / "T2.wav"), "bytes": 1}]
        and told["start"] == "5"
    )
    error = homeward(SourceError("is cut off", file=str(tmp_path / "sound" / "T2.wav")), payload, moved)
    assert str(error) == "/Volumes/SR/T2.wav: is cut off"
    with pytest.raises(Unfit, match=r"does not see the production sound .looked at /mnt/T1\.wav"):
        outward(payload, [parse_mount("/Volumes/SR=/mnt")])


def test_a_clip_on_several_cards_comes_home_with_all_its_files(tmp_path: Path) -> None:
    recognisable(tmp_path)
    for card in ("A", "B"):
        (tmp_path / card).mkdir()
        (tmp_path / card / f"A001_00{1 + (card == 'B')}.mov").write_text("x")
    names = ["/Volumes/A/A001_001.mov", "/Volumes/B/A001_002.mov"]
    source = {"path": "/Volumes/A/A001_###.mov", "files": names}
    payload = PlacedJob.read({"out": str(tmp_path), "source": source})
    moved = outward(payload, [Mount(here="/Volumes", there=str(tmp_path))])
    told = moved.plain()["source"]
    assert told["files"] == [str(tmp_path / "A" / "A001_001.mov"), str(tmp_path / "B" / "A001_002.mov")]
    assert homeward({"source": told}, payload, moved) == {"source": source}


def test_a_machine_that_does_not_see_it_says_where_it_looked(tmp_path: Path) -> None:
    recognisable(tmp_path)
    payload = PlacedJob.read({"out": str(tmp_path), "source": {"path": "/Volumes/DAY/A001.mov"}})
    with pytest.raises(
        Unfit, match=r"does not see the original .looked at /mnt/day/A001.mov, /Volumes"
    ) as found:
        outward(payload, [parse_mount("/Volumes/DAY=/mnt/day")])
    assert str(pickle.loads(pickle.dumps(found.value))) == str(found.value)
    with pytest.raises(Unfit, match="does not see the output folder /x"):
        outward(payload.model_copy(update={"out": "/x"}), [])
    assert original_there(str(tmp_path / "A001_###.mov")) and not original_there("/x/A001_###.mov")


def test_files_of_another_machine_come_in_sight(tmp_path: Path) -> None:
    late = tmp_path / "late.mov"
    threading.Timer(0.4, late.write_text, ["xyz"]).start()
    start = time.monotonic()
    assert awaited([(str(late), 3)], 20) == "" and time.monotonic() - start > 0.3
    assert awaited([(str(late), 4)], 0) == str(late)
    late_one, no_one = (
        DeliveredRecord.read(recorded("a", movie(path=name, bytes=3, mtime_ns=5)))
        for name in ("late.mov", "no.mov")
    )
    assert seen_here(tmp_path, late_one).outputs[0].mtime_ns == late.stat().st_mtime_ns
    with pytest.raises(DeliveryError, match="is not here"):
        seen_here(tmp_path, no_one, 0)
