"""An examination as a value, and its exit code."""

from __future__ import annotations

import json

from rushlight.batch.api.doctor import Examination, doctor
from rushlight.batch.doctor.finding import Finding
from rushlight.batch.doctor.speed import Speed
from rushlight.batch.exit_codes import DONE, PARTLY


def examined(*weights: str) -> Examination:
    findings = tuple(Finding(about=w, found="", weight=w) for w in weights)  # type: ignore[arg-type]
    speeds = (Speed(recipe="viewing", frames_a_second=25.0, stills_seconds=None),)
    return Examination(findings=findings, speeds=speeds, cores=2)


def test_what_stands_in_the_way_is_said_by_the_exit_code() -> None:
    assert examined("well", "note").code == DONE
    assert examined("well", "in the way").code == PARTLY


def test_a_document_is_plain() -> None:
    document = json.loads(json.dumps(examined("well").document()))
    assert document["speeds"] == [{"recipe": "viewing", "frames_a_second": 25.0, "stills_seconds": None}]


def test_findings_are_told_as_they_come() -> None:
    told: list[object] = []
    made = doctor(speed=False, on_finding=told.append)
    assert told == list(made.findings) and not made.speeds
