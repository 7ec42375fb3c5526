"""Exit codes are a promise to scripts: these numbers and no others."""

from rushlight.batch import exit_codes


def test_they_stay_as_scripts_know_them() -> None:
    found = {name: getattr(exit_codes, name) for name in exit_codes.__all__}
    assert found == {"DONE": 0, "PARTLY": 1, "WRONG": 2, "STOPPED": 3, "FAULT": 4}
