"""Which movies get their sound alone made anew, and what is said of others (the making itself: tests/nights/test_sound_night.py)."""

from pathlib import Path
from typing import Any

import pytest

from rushlight.batch.due.sound_alone import DRAWN, GONE, OLDER, SoundNews, news_of, told
from rushlight.batch.records.files import DeliveredMovie, Light
from rushlight.batch.records.job_record import JobRecord
from rushlight.pipelines.job.spec import MovieSpec, StillsSpec
from rushlight.pipelines.recipe.model import Burnin, TextLine

MOVIE: dict[str, Any] = {
    "output": "editorial",
    "folder": "editorial",
    "state": "log",
    "width": 64,
    "height": 36,
}


def spec(**more: Any) -> MovieSpec:
    said = {
        "identity": "new",
        "picture_identity": "same",
        "file": "a.mov",
        "codec": "prores-proxy",
        "container": "mov",
    }
    return MovieSpec(**{**MOVIE, **said, **more})


WAS = spec(identity="old")  # with the sound that the record has


def record(out: Path, status: str = "done", **more: Any) -> JobRecord:
    (out / "editorial").mkdir(exist_ok=True)
    path = out / "editorial" / "a.mov"
    path.write_bytes(b"pictures")
    info = path.stat()
    entry = {
        "output": "editorial", "path": "editorial/a.mov", "identity": "old", "picture_identity": "same", "light": None,
        "bytes": info.st_size, "mtime_ns": info.st_mtime_ns,
    }  # fmt: skip
    return JobRecord.model_construct(
        status=status, outputs=[DeliveredMovie.model_construct(**{**entry, **more})]
    )


def news(out: Path, found: JobRecord, *wanted: Any, was: MovieSpec = WAS, other: bool = True) -> SoundNews:
    return news_of("a.mov", out, wanted or (spec(),), found, was=[was], other_sound=other)


@pytest.mark.parametrize("light", [None, Light(max_cll=1000, max_fall=400)])
def test_other_sound_under_the_same_pictures(light: Light | None, tmp_path: Path) -> None:
    found = news(tmp_path, record(tmp_path, light=light))
    assert found.alone == ("editorial",) and not found.again


@pytest.mark.parametrize(
    "more",
    [
        {"picture_identity": "other"},
        {"identity": "new"},
        {"path": "editorial/A002/a.mov"},
        {"output": "viewing"},
    ],
)
def test_everything_else_is_rendered_as_ever(more: dict[str, Any], tmp_path: Path) -> None:
    assert news(tmp_path, record(tmp_path, **more)) == SoundNews(clip="a.mov")


def test_a_clip_that_was_not_done_is_rendered(tmp_path: Path) -> None:
    assert news(tmp_path, record(tmp_path, "failed")) == SoundNews(clip="a.mov")


def test_beside_an_output_that_is_missing_the_movies_have_their_sound_alone(tmp_path: Path) -> None:
    stills = StillsSpec(**{**MOVIE, "output": "stills"}, identity="new", stills=())
    found = news(tmp_path, record(tmp_path), spec(), stills, spec(output="viewing", folder="viewing"))
    assert found.alone == ("editorial",) and not found.again


def test_an_older_record_is_sure_where_its_movie_is_the_one_that_would_be_made(tmp_path: Path) -> None:
    older = record(tmp_path, picture_identity="")
    assert news(tmp_path, older).alone == ("editorial",)
    other = news(tmp_path, older, was=spec(identity="another"))
    assert not other.alone and other.again == {"editorial": OLDER}


@pytest.mark.parametrize(
    ("more", "wanted", "was", "why"),
    [
        ({}, spec(picture_identity="drawn"), WAS, DRAWN),
        ({"picture_identity": ""}, spec(picture_identity="drawn"), WAS, DRAWN),
        ({"bytes": 7}, spec(), WAS, GONE),
        ({"bytes": 7, "picture_identity": ""}, spec(), WAS, GONE),
    ],
)
def test_what_is_rendered_for_its_sound_has_a_reason(
    more: dict[str, Any], wanted: MovieSpec, was: MovieSpec, why: str, tmp_path: Path
) -> None:
    found = news(tmp_path, record(tmp_path, **more), wanted, was=was)
    assert not found.alone and found.again["editorial"].partition(":")[0] == why
    assert not news(tmp_path, record(tmp_path, **more), wanted, was=was, other=False).again


@pytest.mark.parametrize(
    ("texts", "card", "fields", "named"),
    [
        (["{clip} {sound}"], 0, ["sound"], "{sound}"),
        (["{sound}", "{scene}/{take}"], 0, ["scene", "sound", "note"], "{sound}, {scene}"),
        (["{clip}"], 5, ["sound", "take"], "{take}"),
    ],
)
def test_what_is_drawn_is_named(
    texts: list[str], card: int, fields: list[str], named: str, tmp_path: Path
) -> None:
    """Scene and take may come with the sound, and stand on a slate card."""
    burnin = Burnin(text=tuple(TextLine(at="top", text=text) for text in texts))
    wanted = spec(picture_identity="drawn", burnin=burnin, card=card)
    found = news_of(
        "a.mov", tmp_path, [wanted], record(tmp_path), was=[WAS], other_sound=True, other_fields=fields
    )
    assert found.again == {"editorial": f"{DRAWN}: {named}"}


def test_many_clips_are_said_together() -> None:
    found = [SoundNews(clip=f"{n}.mov", alone=("editorial",), again={"viewing": DRAWN}) for n in range(8)]
    found.append(SoundNews(clip="z.mov", alone=("editorial", "viewing")))
    assert told(found) == [
        "new sound alone, under the pictures that are there: editorial of 8 clips (0.mov, 1.mov, 2.mov, 3.mov, 4.mov, 5.mov and 2 more)",
        "new sound alone, under the pictures that are there: editorial, viewing of z.mov",
        "rendered again, pictures and all, for its new sound: viewing of 8 clips (0.mov, 1.mov, 2.mov, 3.mov, 4.mov, 5.mov and 2 more): "
        "what is drawn into its picture is another now",
    ]
    assert told([SoundNews(clip="a.mov")]) == []
