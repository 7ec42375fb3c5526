"""Findings as a script gets them."""

from __future__ import annotations

from rushlight.batch.doctor.finding import Finding


def test_a_finding_is_well_unless_it_says_otherwise() -> None:
    assert Finding(about="codecs", found="all").document() == {
        "about": "codecs",
        "found": "all",
        "weight": "well",
        "advice": "",
        "facts": {},
    }
