"""`rushlight.verify` of a day with several recipes: one result, in which each clip says its folder."""

import json
from pathlib import Path
from types import SimpleNamespace

import pytest

import rushlight
from here import run
from rushlight.batch.api import verify as module
from rushlight.batch.records.verdicts import AloneClip, ClipVerdicts
from rushlight.batch.schemas import SCHEMAS, json_schema


def clip(folder: Path, verdict: str) -> ClipVerdicts:
    return ClipVerdicts.read(
        {"clip": "A001.mov", "job": f"a-{folder.name}", "made": "", "verdict": verdict, "checks": {}}
    )


@pytest.fixture
def day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Its stills are as they should be, and the other recipe's are not."""
    for name in ("stills", "other"):
        (tmp_path / "out" / name / "log").mkdir(parents=True)
    monkeypatch.setattr(module, "read_log", lambda out: SimpleNamespace(notes=["odd"], records=[]))
    verdicts = {"stills": "pass", "other": "fail"}
    monkeypatch.setattr(module, "measure", lambda out, **options: [clip(out, verdicts[out.name])])
    alone = {"clip": "A001.mov", "verdict": "only here", "differences": []}
    monkeypatch.setattr(module, "compare", lambda out, other: [AloneClip.read(alone)])
    file = tmp_path / "day.toml"
    file.write_text('media = ["media"]\nout = "out"\nrecipes = ["stills", "other.toml"]\n')
    return file


def test_several_recipes_are_one_result(day: Path) -> None:
    found = rushlight.verify(day, against=day.parent / "before")
    folders = [str(day.parent / "out" / name) for name in ("stills", "other")]
    assert [(c.folder, c.verdict) for c in found.clips] == list(zip(folders, ("pass", "fail"), strict=True))
    assert found.counts["pass"] == found.counts["fail"] == 1 and len(found.failed) == 1
    assert list(found.notes) == [f"{folder}: odd" for folder in folders]
    assert found.against is not None and [row.folder for row in found.against] == folders
    for folder in folders:  # what is kept beside each log is its own alone
        kept = json.loads((Path(folder) / "log" / "verify.json").read_text())
        assert [c["job"] for c in kept["clips"]] == [f"a-{Path(folder).name}"] and "folder" not in kept[
            "clips"
        ][0]


def test_one_document_for_scripts(day: Path) -> None:
    from jsonschema import Draft202012Validator

    code, said = run("verify", day, "--json")
    document = json.loads(said)
    Draft202012Validator(json_schema(SCHEMAS["rushlight-verify-1"])).validate(document)
    assert code == 1 and document["counts"]["fail"] == 1
    assert [Path(c["folder"]).name for c in document["clips"]] == ["stills", "other"]
