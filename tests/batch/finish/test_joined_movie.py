"""A movie gets its final name only once it was read back and found right."""

import shutil
from collections.abc import Sequence
from contextlib import nullcontext
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from pictures import numbered, write_movie
from recorded import movie, recorded
from rushlight.batch.finish import joined_movie as module
from rushlight.batch.records.job_record import read_record
from rushlight.batch.what_is_there import to_make
from rushlight.pipelines.errors import DeliveryError
from rushlight.pipelines.job.spec import JobSpec, LookSpec, MovieSpec
from rushlight.pipelines.measure.checksum import file_hash
from rushlight.pipelines.outputs.mxf_packages import umids_of


@pytest.fixture
def given(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[JobSpec, MovieSpec]:
    """A job whose join writes a file that no library has to read."""
    output = MovieSpec(
        output="editorial", identity="id", folder="editorial", state="log", width=64, height=36, file="a.mov", codec="prores-proxy",
        container="mov", card=2,
    )  # fmt: skip
    job = JobSpec.model_construct(
        job="a-1", out=str(tmp_path), first=0, count=3, rate="24", timecode="01:00:00:00", reel="A001", metadata={},
        retimed=False, production=None, look=LookSpec(encoding="LogC3"),
    )  # fmt: skip
    monkeypatch.setattr(module, "sound_under", lambda *given, **named: (None, ("is silent",)))
    monkeypatch.setattr(module, "movie_tags", lambda *given: None)
    monkeypatch.setattr(module, "expected", lambda *given, **named: {})
    monkeypatch.setattr(
        module, "join", lambda paths, counts, path, *given, **named: path.write_bytes(b"movie")
    )
    monkeypatch.setattr(module, "read_back", lambda path: SimpleNamespace(metadata={}))
    monkeypatch.setattr(module, "may_finish", lambda *given: None)
    return job, output


def joined(job: JobSpec, output: MovieSpec, paths: Sequence[Path] = (Path("x"),), pictures: str = "") -> Any:
    facts: Any = None
    return module.joined_movie(
        job, output, facts, "token", paths=paths, counts=[5], hdr=None, pictures=pictures
    )


def test_what_is_right_has_its_name(
    given: tuple[JobSpec, MovieSpec], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "check", lambda *given: [])
    made = joined(*given)
    assert (tmp_path / "editorial" / "a.mov").read_bytes() == b"movie"
    assert (made.path, str(made.timecode)) == ("editorial/a.mov", "00:59:59:22")
    assert made.said == (
        "editorial: is silent",
        "editorial: its tags lack state, look, look_digest, or cut them short; the record has them",
    )
    assert not list(tmp_path.rglob("*.part"))


def test_what_is_not_has_none_and_leaves_nothing(
    given: tuple[JobSpec, MovieSpec], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "check", lambda *given: ["frames is 4, should be 5"])
    with pytest.raises(DeliveryError, match="was made, but frames is 4"):
        joined(*given)
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]


def test_pictures_that_were_to_stay_and_came_out_other_take_no_name(
    given: tuple[JobSpec, MovieSpec], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The name is the delivered movie's, which stands until what is to replace it was found right."""
    write_movie(tmp_path / "had.mov", [numbered(n, 64, 36) for n in range(3)])
    write_movie(tmp_path / "came.mov", [numbered(n + 1, 64, 36) for n in range(3)])
    had, came = (tmp_path / name for name in ("had.mov", "came.mov"))
    monkeypatch.setattr(module, "check", lambda *given: [])
    monkeypatch.setattr(
        module, "join", lambda paths, counts, path, *given, **named: shutil.copyfile(paths[0], path)
    )
    for made, wrong in ((came, True), (had, False)):
        with pytest.raises(DeliveryError, match="its pictures are not those") if wrong else nullcontext():
            joined(*given, paths=[made], pictures=module.coded_pictures(had))
        assert (tmp_path / "editorial" / "a.mov").exists() is not wrong


def test_an_mxf_has_its_clip_its_comments_and_umids_of_its_own(
    given: tuple[JobSpec, MovieSpec], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Set in the unfinished file: the hash is of what is delivered, and nothing delivered is written to."""
    job, output = given
    job = job.model_copy(update={"stem": "A001C001", "metadata": {"scene": "12A", "note": "soft"}})
    output = output.model_copy(update={"container": "mxf", "file": "a.mxf"})
    told: dict[str, Any] = {}
    monkeypatch.setattr(module, "check", lambda *given: [])
    monkeypatch.setattr(
        module, "join", lambda paths, counts, path, *given, **named: told.update(named, joined=path)
    )
    monkeypatch.setattr(module, "set_umids", lambda path, umids: path.write_bytes(umids.material.encode()))
    made = joined(job, output)
    shown = {key: text for key, text in told["metadata"].items() if "look" not in key}
    assert shown == {
        "material_package_name": "A001C001",
        "comment_scene": "12A",
        "comment_note": "soft",
        "comment_state": "log",
    }
    final = tmp_path / "editorial" / "a.mxf"
    assert final.read_bytes() == umids_of("a-1 id", "A001").material.encode() and told["joined"] != final
    assert made.digest == file_hash(final)
    other = output.model_copy(update={"identity": "other"})  # a revision is another clip to who links by UMID
    joined(job, other)
    assert final.read_bytes() == umids_of("a-1 other", "A001").material.encode()


def test_an_mxf_of_an_older_version_is_not_made_again(
    given: tuple[JobSpec, MovieSpec], tmp_path: Path
) -> None:
    """Its UMIDs are those that all files had then, and its record has none: it stays as it was delivered."""
    output = given[1].model_copy(update={"container": "mxf", "file": "a.mxf"})
    path = tmp_path / "editorial" / "a.mxf"
    path.parent.mkdir()
    path.write_bytes(b"as it was")
    info = path.stat()
    entry = movie(
        path="editorial/a.mxf", identity="id", container="mxf", bytes=info.st_size, mtime_ns=info.st_mtime_ns
    )
    assert not {"umid", "clip_name"} & entry.keys()
    assert to_make(tmp_path, (output,), read_record(recorded("a-1", entry))) == ()
