"""Versions in sentences: of a delivery, and whether those of today differ."""

from __future__ import annotations

from typing import Any

import pytest

from recorded import movie, recorded
from rushlight.batch.records.job_record import read_record
from rushlight.batch.report.made_with import UNKNOWN, differing, made_by, now_text, versions_text

THEN = {
    "Python": "3.11",
    "rushlight": "0.2.0",
    "av": "18.1.0",
    "libavcodec": "62.11.100",
    "opencolorio": "2.5.0",
    "numba": "0.61",
    "processor": "x86_64",
}


def record(clip: str, *made: tuple[list[str], dict[str, str]], **given: Any) -> Any:
    found = [{"outputs": outputs, "versions": versions} for outputs, versions in made]
    outputs = [] if given else [movie()]
    return read_record(recorded(clip, *outputs, **({"made_with": found} if found else {}), **given))


def test_versions_begin_with_rushlight_and_end_with_the_processor() -> None:
    assert (
        versions_text(THEN)
        == "rushlight 0.2.0, Python 3.11, PyAV 18.1.0, libavcodec 62.11.100, OpenColorIO 2.5.0, numba 0.61, on x86_64"
    )
    assert versions_text({}) == UNKNOWN


def test_a_clip_that_two_nights_made_counts_for_both() -> None:
    later = THEN | {"rushlight": "0.3.0"}
    found = made_by(
        [
            record("a", (["editorial"], THEN)),
            record("b", (["editorial"], THEN), (["viewing"], later)),
            record("c"),  # of an older version
            record("d", (["editorial"], THEN), status="failed"),
        ]
    )
    assert [(each.versions.get("rushlight"), each.clips) for each in found] == [
        ("0.2.0", ["a", "b"]),
        ("0.3.0", ["b"]),
        (None, ["c"]),
    ]


def test_who_graded_is_said_where_a_card_did() -> None:
    def of(*runs: tuple[str, int]) -> Any:
        graded = [{"by": by, "first": 0, "frames": frames} for by, frames in runs]
        made = [{"outputs": ["editorial"], "versions": {"rushlight": "1"}, "graded_by": graded}]
        return read_record(recorded("a", movie(), made_with=made))

    (alone,) = made_by([of(("processor", 3))])
    assert (alone.text(), alone.document({})["graded_by"]) == ("rushlight 1", {"processor": 3})
    (mixed,) = made_by([of(("Toy", 5), ("processor", 1)), of(("Toy", 4))])
    assert mixed.text() == "rushlight 1; graded by Toy (9 frames), processor (1 frame)"


@pytest.mark.parametrize(
    ("now", "said"),
    [
        (THEN, []),
        (THEN | {"Python": "3.13", "distributed": "9"}, []),  # these change no file
        (
            THEN | {"av": "19.0", "libavcodec": "63.1.100"},
            ["PyAV 18.1.0 then and 19.0 now, libavcodec 62.11.100 then and 63.1.100 now may change how FFmpeg decodes, scales and encodes movies"],
        ),
        (
            THEN | {"opencolorio": "2.6.0", "processor": "arm64"},
            [
                "OpenColorIO 2.5.0 then and 2.6.0 now may change looks in their last digits (movies keep those that were baked then)",
                "processor x86_64 then and arm64 now may change the bytes of encoded movies, not their colour",
            ],
        ),
        (THEN | {"numba": "0.70"}, ["numba 0.61 then and 0.70 now may change looks in their last digits (movies keep those that were baked then)"]),
        ({**THEN, "rushlight": "1.0"}, ["rushlight 0.2.0 then and 1.0 now may change anything; CHANGELOG.md says what"]),
    ],
)  # fmt: skip
def test_what_today_may_change(now: dict[str, str], said: list[str]) -> None:
    assert differing(THEN, now) == said


def test_what_is_said_of_a_delivery() -> None:
    made = made_by([record("a", (["editorial"], THEN)), record("b", (["editorial"], THEN)), record("c")])
    assert now_text(made, THEN) == [
        "2 clips (a, b: editorial) made with the versions of today",
        f"1 clip (c: editorial) made with {UNKNOWN}: whether rushlight, OpenColorIO, FFmpeg or numba differ is not known",
    ]
    (first, _) = now_text(made, THEN | {"libavcodec": "63"})
    assert first.startswith(
        "2 clips (a, b: editorial) made with other versions than those of today: libavcodec 62.11.100 then and 63 now"
    )
    assert made[0].document(THEN) == {
        **{"clips": 2, "names": ["a", "b"], "outputs": ["editorial"]},
        **{"versions": THEN, "may_change": [], "graded_by": {}},
    }
    assert made[1].document(THEN)["may_change"] is None


def test_of_0_2_0_the_look_alone_says_a_version() -> None:
    """It recorded OpenColorIO's, and nothing else; 0.1.0 nothing at all."""
    plain = recorded("a", movie())
    plain["look"] = {**plain["look"], "opencolorio": {"version": "2.5.0", "config": "c"}}
    made = made_by([read_record(plain)])
    (said,) = now_text(made, THEN)
    text = (
        "1 clip made with rushlight 0.2.0 or older, which recorded OpenColorIO 2.5.0 and no other version: "
    )
    unknown = "whether rushlight, FFmpeg or numba differ is not known"
    assert said == f"{text}OpenColorIO is that of today; {unknown}"
    (said,) = now_text(made, THEN | {"opencolorio": "2.6.0", "numba": "0.70"})
    assert said == (
        f"{text}OpenColorIO 2.5.0 then and 2.6.0 now may change looks in their last digits (movies keep those that were baked then);"
        f" {unknown}"
    )
    assert made[0].document(THEN)["may_change"] is None


def test_of_many_clips_the_first_are_named() -> None:
    made = made_by([*(record(name, (["editorial", "stills"], THEN)) for name in "abcdef"), record("g")])
    assert now_text(made, THEN)[0].startswith("6 clips (a, b, c, d and 2 more: editorial, stills) made with")
