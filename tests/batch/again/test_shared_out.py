"""Names that a command gives, shared out among several lists and recipes."""

from __future__ import annotations

from pathlib import Path

import pytest

from here import RECIPE
from rushlight.batch.again.shared_out import shared_out
from rushlight.batch.plan.request import Request
from rushlight.pipelines.errors import OptionError

STILLS = '[[output]]\nname = "frames"\nmake = "stills"\nkinds = ["jpeg"]\n'


@pytest.fixture
def requests(tmp_path: Path) -> list[Request]:
    """Two lists, each with a recipe of its own."""
    (tmp_path / "two.toml").write_text(RECIPE)
    (tmp_path / "stills.toml").write_text(STILLS)
    (tmp_path / "a.csv").write_text("clip\nA1.mov\nA2.mov\n")
    (tmp_path / "b.csv").write_text("clip\nB1.mov\n")
    return [
        Request(clip_list=tmp_path / "a.csv", recipe=str(tmp_path / "two.toml")),
        Request(clip_list=tmp_path / "b.csv", recipe=str(tmp_path / "stills.toml")),
    ]


def test_nothing_named_changes_nothing(requests: list[Request]) -> None:
    assert shared_out(requests) == requests


def test_each_gets_its_own(requests: list[Request]) -> None:
    one, other = shared_out(requests, outputs=("frames", "Viewing"))
    assert (one.outputs, other.outputs) == (("Viewing",), ("frames",))
    (only,) = shared_out(requests, outputs=("frames",))
    assert only.clip_list.name == "b.csv"
    one, other = shared_out(requests, ranges=("A1=1-2", "B1.mov=3-4"), stills=("A2=5",))
    assert (one.ranges, one.stills) == (("A1=1-2",), ("A2=5",))
    assert (other.ranges, other.stills) == (("B1.mov=3-4",), ())


def test_a_still_goes_where_the_output_makes_stills(requests: list[Request]) -> None:
    (only,) = shared_out(requests, outputs=("frames",), stills=("B1=5",))
    assert only.stills == ("B1=5",)
    with pytest.raises(OptionError, match="--still 'A1=5'"):
        shared_out(requests, outputs=("viewing",), stills=("A1=5",))


@pytest.mark.parametrize(
    ("named", "says"),
    [
        ({"outputs": ("viewing", "vewing")}, "--output 'vewing': no recipe has an output of that name"),
        ({"ranges": ("A1=1-2", "C1=1-2")}, "--range 'C1=1-2': no list has a clip of that name"),
    ],
)
def test_a_name_that_nobody_knows(
    requests: list[Request], named: dict[str, tuple[str, ...]], says: str
) -> None:
    with pytest.raises(OptionError, match=says):
        shared_out(requests, **named)


def test_outputs_of_one_list_and_clips_of_another_are_no_request(requests: list[Request]) -> None:
    with pytest.raises(OptionError, match="has both"):
        shared_out(requests, outputs=("frames",), ranges=("A1=1-2",))


def test_a_list_that_does_not_read_says_so_where_it_is_made(requests: list[Request]) -> None:
    requests[1].clip_list.unlink()
    (kept,) = shared_out(requests, ranges=("C1=1-2",))
    assert kept.clip_list.name == "b.csv" and kept.ranges == ("C1=1-2",)
