"""A movie gets its final name only once it was read back and found right."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from rushlight.batch.finish import joined_movie as module
from rushlight.pipelines.errors import DeliveryError
from rushlight.pipelines.job.spec import JobSpec, MovieSpec


@pytest.fixture
def given(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[JobSpec, MovieSpec]:
    """A job whose join writes a file that no library has to read."""
    output = MovieSpec(
        output="editorial", identity="id", folder="editorial", state="log", width=64, height=36, file="a.mov", codec="prores-proxy",
        container="mov", card=2,
    )  # fmt: skip
    job = JobSpec.model_construct(
        job="a-1", out=str(tmp_path), first=0, count=3, rate="24", timecode="01:00:00:00", reel="A001", metadata={},
        retimed=False, production=None, look=SimpleNamespace(display="Rec.709 BT.1886"),
    )  # fmt: skip
    monkeypatch.setattr(module, "sound_under", lambda *given, **named: (None, ("is silent",)))
    monkeypatch.setattr(module, "movie_tags", lambda *given: None)
    monkeypatch.setattr(module, "expected", lambda *given, **named: {})
    monkeypatch.setattr(
        module, "join", lambda paths, counts, path, *given, **named: path.write_bytes(b"movie")
    )
    monkeypatch.setattr(module, "read_back", lambda path: SimpleNamespace(size=path.stat().st_size))
    monkeypatch.setattr(module, "may_finish", lambda *given: None)
    return job, output


def joined(job: JobSpec, output: MovieSpec) -> Any:
    facts: Any = None
    return module.joined_movie(job, output, facts, "token", paths=[Path("x")], counts=[5], hdr=None)


def test_what_is_right_has_its_name(
    given: tuple[JobSpec, MovieSpec], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "check", lambda *given: [])
    made = joined(*given)
    assert (tmp_path / "editorial" / "a.mov").read_bytes() == b"movie"
    assert (made.path, str(made.timecode), made.said) == (
        "editorial/a.mov",
        "00:59:59:22",
        ("editorial: is silent",),
    )
    assert not list(tmp_path.rglob("*.part"))


def test_what_is_not_has_none_and_leaves_nothing(
    given: tuple[JobSpec, MovieSpec], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "check", lambda *given: ["frames is 4, should be 5"])
    with pytest.raises(DeliveryError, match="was made, but frames is 4"):
        joined(*given)
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]
