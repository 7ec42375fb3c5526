"""Clips by camera: a letter, what headers say, a folder; and selectors that choose them and no other."""

from __future__ import annotations

import tomllib
from fractions import Fraction
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.cameras.camera_groups import CameraGroup, Seen, camera_groups
from rushlight.batch.decisions.lut_files import LutFiles
from rushlight.batch.framing.framing_files import FramingFiles
from rushlight.batch.lists.clip_list import Row
from rushlight.batch.plan.apply_defaults import Defaults
from rushlight.batch.plan.reels import reel_of
from rushlight.pipelines.counted import shortened
from rushlight.pipelines.formats.pixel_formats import find_pixel_format
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.recipe.read_recipe import parse_defaults

RATE = FrameRate(fraction=Fraction(24))


def facts(path: Path, codec: str = "prores", **metadata: str) -> Facts:
    pixel_format = find_pixel_format("yuv422p10le")
    assert pixel_format
    return Facts(
        path=path,
        kind="movie",
        files=(path,),
        width=1920,
        height=1080,
        pixel_format=pixel_format,
        stored_format="yuv422p10le",
        rate=RATE,
        rate_from="header",
        frames=2,
        timecode=Timecode(frames=0, rate=RATE),
        timecode_from="header",
        codec=codec,
        container=path.suffix.lstrip("."),
        metadata=metadata,
    )


def seen(name: str, codec: str = "prores", **metadata: str) -> Seen:
    path = Path("/day") / name
    header = facts(path, codec, **metadata)
    return Seen.of(row(name), path, header, reel_of(row(name), path, header))


def row(name: str) -> Row:
    return Row(file="day.toml", line=1, clip=name, cells={"clip": name})


def chosen_by(group: CameraGroup, clips: list[Seen]) -> set[str]:
    """The clips that a group's lines state something of, as the plan reads them."""
    text = group.tables(['encoding = "LogC3"'])
    defaults = Defaults()
    defaults.add(parse_defaults(text), "day.toml", Path(), LutFiles(()), FramingFiles())
    return {s.clip for s in clips if defaults.of(row(s.clip), s.path, s.facts)}


def test_a_letter_is_a_camera() -> None:
    clips = [seen("A001/A001_C001.mov"), seen("B001/B001C001.mxf"), seen("A002/A002_C001.mov", "h264")]
    groups = camera_groups(clips)
    assert [(g.name, g.selectors) for g in groups] == [
        ("camera A", (("camera", "A"),)),
        ("camera B", (("camera", "B"),)),
    ]
    assert [kind.selectors for kind in groups[0].kinds] == [(("reel", "A001"),), (("reel", "A002"),)]
    assert not groups[1].kinds
    assert groups[1].formats == "prores, 1920x1080, 24 fps"


def test_two_cameras_under_one_letter_are_told_apart_by_their_headers() -> None:
    clips = [
        seen("cards/one/A001_C001.mov", make="Halden", model="H7"),
        seen("cards/one/A001_C002.mov", make="Halden", model="H7"),
        seen("cards/two/A001_C003.mov", make="Otta", model="2", comment="V-Log"),
    ]
    groups = camera_groups(clips)
    assert [(g.header, g.suggested, g.selectors) for g in groups] == [
        ("Halden H7", "", (("file", "cards/one/*"),)),
        ("Otta 2", "V-Log/V-Gamut", (("file", "cards/two/*"),)),
    ]
    assert [chosen_by(g, clips) for g in groups] == [{c.clip for c in g.clips} for g in groups]


def test_without_a_letter_it_is_what_the_header_names_else_the_folder() -> None:
    clips = [
        seen("cards/CARD/take 1.mov", make="Halden", model="H7"),
        seen("cards/CARD/CLIP0001.MP4"),
        seen("cards/CARD/CLIP0002.MP4"),
        seen("cards/drone/x[1].MP4"),
        seen("cards/loose 1.MP4"),
        seen("cards/loose 2.MP4"),
    ]
    groups = camera_groups(clips)
    assert [g.name for g in groups] == ["a camera without a name (cards/CARD/CLIP* and 2 more)", "Halden H7"]
    assert [pattern for _, pattern in groups[0].selectors] == [
        "cards/CARD/CLIP*",
        "cards/drone/*",
        "cards/loose *",  # not all of `cards`, into which others come later
    ]
    assert [chosen_by(g, clips) for g in groups] == [{c.clip for c in g.clips} for g in groups]


def test_a_card_that_comes_later_is_chosen_by_nothing_that_was_proposed() -> None:
    clips = [
        seen("cards/A/CLIP/C0001.MP4"),
        seen("cards/loose.mp4"),
        seen("cards/B/CLIP/x 1.mxf", make="Otta"),
    ]
    later = [
        seen("cards/C/CLIP/C0001.MP4"),
        seen("cards/more.mp4"),
        seen("cards/B2/CLIP/x 1.mxf"),
        seen("x.mp4"),
    ]
    for group in camera_groups(clips):
        assert chosen_by(group, later) == set()


def test_reels_tell_them_where_letters_do_not() -> None:
    clips = [
        seen("cards/all/A001_C001.mov", make="Halden"),
        seen("cards/all/A002_C001.mov", make="Halden"),
        seen("cards/all/A003_C001.mov", make="Otta"),
    ]
    assert [g.selectors for g in camera_groups(clips)] == [
        (("reel", "A001"), ("reel", "A002")),
        (("reel", "A003"),),
    ]


NAMES = st.lists(
    st.tuples(
        st.sampled_from(["a", "b", "cards/card 1", "cards/2"]),
        st.text("AB01_C[]*? é", min_size=1, max_size=9).filter(lambda t: t.strip() == t),
        st.sampled_from(["", "Halden", "Otta"]),
    ),
    min_size=1,
    max_size=8,
    unique_by=lambda t: (t[0], t[1].lower()),
)


@given(NAMES)
def test_every_clip_is_in_one_group_and_its_lines_are_toml_that_chooses_it(
    names: list[tuple[str, str, str]],
) -> None:
    clips = [seen(f"{folder}/{name}.mov", make=make) for folder, name, make in names]
    groups = camera_groups(clips)
    assert sorted(c.clip for g in groups for c in g.clips) == sorted(c.clip for c in clips)
    for group in groups:
        assert tomllib.loads(group.tables([]))["default"]
        assert {c.clip for c in group.clips} <= chosen_by(group, clips)


def test_names_are_shortened() -> None:
    assert shortened(["a", "b"]) == "a, b"
    assert shortened(list("abcdef")) == "a, b, c, d and 2 more"
