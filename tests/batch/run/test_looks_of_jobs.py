"""A look that cannot be baked costs the clips that have it, and no others; one that an earlier version baked stands."""

from pathlib import Path

import pytest

import foreign
from here import HereFarm, farm_here, files, run, small_day  # noqa: F401
from logged import append_record, latest, read_records
from recorded import movie, recorded
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.jobs_to_make import baked, jobs_of
from rushlight.pipelines.errors import ResourceError
from rushlight.pipelines.grading import bake, lattice

CLIPS = ("A001C001.mov", "A001C002.mov", "A001C003.mov")


@pytest.fixture
def request_(tmp_path: Path) -> Request:
    """Three clips, the second with another look than the others."""
    for number, name in enumerate(CLIPS):
        foreign.good(tmp_path / name, number)
    rows = "".join(f"{name},LogC3,{1.1 if name == CLIPS[1] else 1.0}\n" for name in CLIPS)
    (tmp_path / "day.csv").write_text("clip,encoding,saturation\n" + rows)
    recipe = (
        '[[output]]\nname = "p"\nmake = "movie"\ncodec = "prores-proxy"\nsize = "128x72"\n[look]\nsize = 33\n'
    )
    (tmp_path / "r.toml").write_text(recipe)
    return Request(clip_list=tmp_path / "day.csv", recipe=str(tmp_path / "r.toml"), out=tmp_path / "out")


def fails_for_one(monkeypatch: pytest.MonkeyPatch, error: Exception) -> None:
    from rushlight.pipelines.job import from_spec

    whole = from_spec.build_look

    def odd(spec: object, out: Path) -> object:
        if spec.grade and spec.grade.saturation != 1:  # type: ignore[attr-defined]
            raise error
        return whole(spec, out)  # type: ignore[arg-type]

    monkeypatch.setattr(from_spec, "build_look", odd)


def test_the_others_are_baked(request_: Request, monkeypatch: pytest.MonkeyPatch) -> None:
    assert request_.out is not None
    prepared = prepare(request_)
    turns = jobs_of(prepared, request_.out, EventStream())[0]
    job = next(turn.spec.job for turn in turns if turn.spec.clip == CLIPS[1])
    before = recorded(job, movie(), clip=CLIPS[1], revision=2)
    append_record(request_.out, before)
    fails_for_one(monkeypatch, ZeroDivisionError("odd"))
    found = baked(prepared, request_.out, turns)
    assert [turn.spec.clip for turn in found] == [CLIPS[0], CLIPS[2]]
    assert all(turn.spec.baked for turn in found)
    assert [clip.row.clip for clip in prepared.plan.clips] == [CLIPS[0], CLIPS[2]]
    ((row, error),) = prepared.plan.broken
    assert row.clip == CLIPS[1] and "a fault of rushlight's own" in error.text
    record = next(r for r in latest(read_records(request_.out)).values() if r["clip"] == CLIPS[1])
    assert (record["status"], record["error"]) == ("failed", str(error))
    assert (record["outputs"], record["revision"]) == (
        before["outputs"],
        2,
    )  # what was delivered is still known
    assert "ZeroDivisionError: odd" in (request_.out / "log" / "errors.txt").read_text()


def test_another_look_of_one_output_costs_the_clips_that_have_it(
    request_: Request, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two turns' looks are alike but for an output's own, which fails."""
    assert request_.out is not None
    other = '[[output]]\nname = "q"\nmake = "movie"\ncodec = "prores-proxy"\nsize = "128x72"\n'
    other += 'display = "sRGB"\nonly = { saturation = "1.0" }\n'
    path = Path(request_.recipe)
    path.write_text(path.read_text().replace("[look]", other + "[look]"))
    rows = request_.clip_list.read_text().replace("1.1", "1.00")  # the same grade, and not of that output
    request_.clip_list.write_text(rows)
    prepared = prepare(request_)
    turns = jobs_of(prepared, request_.out, EventStream())[0]
    from rushlight.pipelines.job import from_spec

    whole = from_spec.build_look

    def odd(spec: object, out: Path) -> object:
        if spec.display == "sRGB":  # type: ignore[attr-defined]
            raise ZeroDivisionError("odd")
        return whole(spec, out)  # type: ignore[arg-type]

    monkeypatch.setattr(from_spec, "build_look", odd)
    found = baked(prepared, request_.out, turns)
    assert [turn.spec.clip for turn in found] == [CLIPS[1]]


def test_a_shortage_is_no_fault_of_a_look(request_: Request, monkeypatch: pytest.MonkeyPatch) -> None:
    assert request_.out is not None
    prepared = prepare(request_)
    turns = jobs_of(prepared, request_.out, EventStream())[0]
    fails_for_one(monkeypatch, ResourceError("no space left on the disk"))
    with pytest.raises(ResourceError):
        baked(prepared, request_.out, turns)
    assert len(prepared.plan.clips) == 3


def test_what_an_earlier_version_made_is_not_made_again_unasked(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    """Its lattices were made otherwise: its files stand, and what is asked for again is made with today's."""
    list_ = small_day(tmp_path / "day")
    command = ("render", list_, "--recipe", list_.parent / "two.toml", "--out", tmp_path / "out")
    with monkeypatch.context() as earlier:
        earlier.setattr(bake, "LATTICES", bake.LATTICES - 1)
        earlier.setattr(lattice, "_balanced", lambda values: values)
        assert run(*command)[0] == 0
    before, made = files(tmp_path / "out", "editorial", "viewing"), len(farm_here.calls)
    code, said = run(*command)
    assert (code, len(farm_here.calls)) == (0, made) and "2 clips made earlier and unchanged" in said
    assert files(tmp_path / "out", "editorial", "viewing") == before
    for record in read_records(tmp_path / "out"):  # of one look: nothing in it is about several
        assert "looks" not in record and not [e for e in record["outputs"] if "look" in e]
        assert not [p for p in record["colour"]["pictures"] if p.keys() & {"look", "look_digest", "display"}]
    (tmp_path / "out" / "editorial" / "A001C001.mov").unlink()
    assert run(*command)[0] == 0 and len(farm_here.calls) > made
    after = files(tmp_path / "out", "editorial", "viewing")
    changed = {name for name in before if after[name] != before[name]}
    assert changed == {"editorial/A001C001.mov"}
    looks = list((tmp_path / "out" / "log" / "inputs" / "looks").glob("*.npz"))
    assert len(looks) == 2  # the earlier version's, and today's
