"""A movie's sound made anew: what stops it, and what of its record stays (whole, through the commands: tests/nights/test_sound_night.py)."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from pictures import numbered, write_movie
from recordings import made_take
from rushlight.batch.finish import sound_anew as module
from rushlight.batch.finish.joined_movie import coded_pictures
from rushlight.batch.records.files import DeliveredMovie, Light
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.records.sound import ClipSound, SoundFile
from rushlight.pipelines.errors import DeliveryError, SourceError
from rushlight.pipelines.job.spec import JobSpec, MovieSpec, SoundFileSpec, SoundSpec

PRODUCTION = SoundSpec(parts=((SoundFileSpec(path="/s/T1.wav", bytes=1, mtime_ns=1),),), start="0", step="1")


def job(out: Path, **more: Any) -> JobSpec:
    output = MovieSpec(
        output="editorial", identity="new", folder="editorial", state="log", width=64, height=36, file="a.mov", codec="prores-proxy",
        container="mov",
    )  # fmt: skip
    given = {
        "job": "a-1", "out": str(out), "rate": "25", "first": 0, "count": 3, "retimed": False, "outputs": (output,), "record": {},
        "look": SimpleNamespace(display="PQ BT.2100"), "production": PRODUCTION,
    }  # fmt: skip
    return JobSpec.model_construct(**{**given, **more})


def delivered(out: Path, monkeypatch: pytest.MonkeyPatch, **more: Any) -> DeliveredRecord:
    """A delivered movie of three pictures, as the log has it."""
    (out / "editorial").mkdir()
    path = out / "editorial" / "a.mov"
    write_movie(path, [numbered(n, 64, 36) for n in range(3)])
    info = path.stat()
    entry = DeliveredMovie.model_construct(
        output="editorial", path="editorial/a.mov", identity="old", frames=3, bytes=info.st_size, mtime_ns=info.st_mtime_ns,
        revision=1, light=None, **more,
    )  # fmt: skip
    record = DeliveredRecord.model_construct(
        job="a-1", outputs=[entry], warnings=["is dark", "has no production sound (no take): …"]
    )
    monkeypatch.setattr(module, "read_log", lambda out: SimpleNamespace(records=[]))
    monkeypatch.setattr(module, "latest", lambda records: {"a-1": record})
    return record


FACTS: Any = SimpleNamespace(sound=())


def test_without_delivered_pictures_there_is_nothing_to_lay_it_under(tmp_path: Path) -> None:
    with pytest.raises(DeliveryError, match="has no delivered pictures"):
        module.sound_made_anew(job(tmp_path), FACTS, "token")


def test_a_movie_that_was_changed_since_is_not_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    delivered(tmp_path, monkeypatch)
    with (tmp_path / "editorial" / "a.mov").open("ab") as file:
        file.write(b"more")
    with pytest.raises(DeliveryError, match="is not as it was delivered"):
        module.sound_made_anew(job(tmp_path), FACTS, "token")


def test_an_hdr_movie_is_held_to_the_light_that_it_stated(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (entry,) = delivered(tmp_path, monkeypatch).outputs
    asked: dict[str, Any] = {}
    monkeypatch.setattr(module, "joined_movie", lambda *given, **named: asked.update(named) or 1 / 0)
    with pytest.raises(ZeroDivisionError):
        module.sound_made_anew(job(tmp_path), FACTS, "token")
    assert (asked["hdr"], asked["pictures"]) == (None, coded_pictures(tmp_path / "editorial" / "a.mov"))
    entry.__dict__["light"] = Light(max_cll=743, max_fall=120)
    with pytest.raises(ZeroDivisionError):
        module.sound_made_anew(job(tmp_path), FACTS, "token")
    hdr = asked["hdr"]
    assert (hdr.max_cll, hdr.max_fall, hdr.brightest) == (743, 120, 1000.0)


def test_warnings_of_its_former_sound_are_not_told_again() -> None:
    file = SoundFile(path="/s/T9.wav", bytes=1, mtime_ns=1)
    record = DeliveredRecord.model_construct(
        warnings=["is dark", "has no production sound (none)", "T9.wav is cut off"],
        sound=ClipSound(kind="production", files=[[file]]),
    )
    assert module._still_true(record) == ["is dark"]


def test_nothing_is_heard_where_there_is_one_sound_or_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "hear", lambda *given, **named: 1 / 0)
    camera: Any = SimpleNamespace(sound=("a track",))
    for given, facts in (
        (job(tmp_path, production=None), camera),
        (job(tmp_path), FACTS),
        (job(tmp_path, retimed=True), camera),
    ):
        assert module.heard_in_job(given, facts) == (None, [])
    assert module.heard_in_job(job(tmp_path), camera) == (None, [])  # its file is gone: that costs no clip
    monkeypatch.setattr(module, "opened_production", lambda spec: made_take())
    with pytest.raises(ZeroDivisionError):
        module.heard_in_job(job(tmp_path), camera)


def test_what_does_not_read_is_not_heard(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*given: Any, **named: Any) -> None:
        raise SourceError("does not decode")

    monkeypatch.setattr(module, "opened_production", lambda spec: made_take())
    monkeypatch.setattr(module, "hear", refused)
    assert module.heard_in_job(job(tmp_path), SimpleNamespace(sound=("a track",))) == (None, [])  # type: ignore[arg-type]
