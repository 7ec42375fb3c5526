"""No two files meet, on any system: who keeps a name, where the others go, and that it is said."""

from __future__ import annotations

import random

from rushlight.pipelines.job.delivered_names import Named, Names, StillFrame, ways_of
from rushlight.pipelines.portable_name import same_name
from rushlight.pipelines.recipe.name_clashes import Claims, Met, Settled, Wish, settle
from rushlight.pipelines.recipe.read_recipe import parse_recipe


def wish(who: str, *ways: str, **more: bool) -> Wish:
    return Wish(who=who, ways=tuple((way,) for way in ways), **more)


def test_the_first_keeps_its_name_and_the_other_goes_its_next_way() -> None:
    found = settle([wish("a", "v/12.mov", "v/12_a.mov"), wish("b", "v/12.MOV", "v/12_b.mov")], Claims())
    assert found == [Settled(way=0), Settled(way=1, met=Met(path="v/12.MOV", who="a"))]


def test_who_has_the_file_already_keeps_it() -> None:
    found = settle(
        [wish("a", "v/12.mov", "v/12_a.mov"), wish("b", "v/12.mov", "v/12_b.mov", holds=True)], Claims()
    )
    assert [each.way for each in found] == [1, 0]


def test_of_twins_none_has_the_name() -> None:
    twins = [wish("a", "v/C1.mov", "v/A/C1.mov", twin=True), wish("b", "v/c1.mov", "v/B/C1.mov", twin=True)]
    assert [each.way for each in settle(twins, Claims())] == [1, 1]
    apart = [
        wish("a", "v/1/C1.mov", "v/1/A/C1.mov", twin=True),
        wish("b", "v/2/C1.mov", "v/2/B/C1.mov", twin=True),
    ]
    assert [each.way for each in settle(apart, Claims())] == [0, 0]


def test_a_file_and_a_folder_of_one_name_clash() -> None:
    claims = Claims()
    claims.take(["v/day/a.mov"], "a")
    assert claims.met(["v/Day"]) == Met(path="v/Day", who="a")
    claims.take(["v/b.mov"], "b")
    assert claims.met(["v/b.mov/c.mov"]) == Met(path="v/b.mov/c.mov", who="b")
    assert claims.met(["v/c.mov"]) is None


def test_where_every_way_is_anothers_the_clip_has_none() -> None:
    claims = Claims()
    claims.take(["v/1.mov", "v/1_a.mov"], "other")
    assert settle([wish("a", "v/1.mov", "v/1_a.mov")], claims) == [
        Settled(way=None, met=Met(path="v/1.mov", who="other"))
    ]


def test_stills_of_one_clip_do_not_meet_each_other() -> None:
    met = Claims().met(["v/a.jpg", "v/A.JPG"])
    assert met and met.path == "v/A.JPG"


PIECES = (
    "{scene}",
    "{take:2}",
    "{clip}",
    "{clip:lower}",
    "{camera}",
    "{reel}",
    "{day:%y%m%d}",
    "{note|n}",
    "{timecode}",
    "{number}",
)
LETTERS = 'aAbB12éE\u0301e .._/\\:*?"<>|\x00\u200bßſK'


def some(rng: random.Random, most: int) -> str:
    return "".join(rng.choice(LETTERS) for _ in range(rng.randint(0, most)))


def clip(rng: random.Random, number: int) -> Named:
    values = {name: some(rng, 3) for name in ("scene", "take", "camera", "reel", "note")}
    values |= {"day": rng.choice(["2026-05-04", "2026-05-05", "day 1", ""]), "number": str(rng.randint(1, 9))}
    stem = rng.choice([some(rng, 4), f"C{rng.randint(1, 3)}", "con", "x" * 260])
    frames = tuple(StillFrame(frame=n, source_frame=n, timecode=f"10.00.00.{n:02}") for n in (0, 7))
    movie = rng.random() < 0.7
    return Named(
        stem=stem,
        folder=rng.choice(["", f"row-{number}"]),
        values={**values, "clip": stem, "timecode": some(rng, 2)},
        frames=() if movie else frames,
        single=False,
        extension="mov" if movie else "",
    )


def test_ten_thousand_random_names_and_templates_have_no_clash_unsaid_and_none_escapes() -> None:
    rng = random.Random(22)
    made = refused = moved = 0
    while made < 10_000:
        path = "/".join(
            "".join(rng.choices((*PIECES, "_", "x"), k=rng.randint(1, 2))) for _ in range(rng.randint(0, 2))
        )
        file = "".join(rng.choices((*PIECES, "_", "-T"), k=rng.randint(0, 3)))
        clips = [clip(rng, n) for n in range(20)]
        for kind in ("movie", "stills"):
            settings = 'codec = "prores-lt"' if kind == "movie" else 'kinds = ["jpeg", "png8", "png16"]'
            document = (
                f'[[output]]\nname = "v"\nmake = "{kind}"\n{settings}\npath = "{path}"\nfile = "{file}"\n'
            )
            output = parse_recipe(document).output[0]
            ours = [each for each in clips if bool(each.extension) == (kind == "movie")]
            ways: list[tuple[Names, ...]] = [ways_of(output, each)[0] for each in ours]
            wishes = [
                Wish(who=str(n), ways=tuple(w.paths("v") for w in all_ways), twin=bool(each.folder))
                for n, (each, all_ways) in enumerate(zip(ours, ways, strict=True))
            ]
            taken: dict[str, int] = {}
            for n, settled in enumerate(settle(wishes, Claims())):
                assert (settled.way == 0) == (settled.met is None)  # what did not go as written is said
                if settled.way is None:
                    refused += 1
                    continue
                moved += settled.way > 0
                for place in wishes[n].ways[settled.way]:
                    check_inside(place)
                    assert taken.setdefault(same_name(place), n) == n
                assert len({same_name(p) for p in wishes[n].ways[settled.way]}) == len(
                    wishes[n].ways[settled.way]
                )
                made += 1
            files, folders = set(taken), {p.rpartition("/")[0] for p in taken}
            assert not files & folders
    assert moved > 500 and refused > 50  # the random ones do clash


def check_inside(place: str) -> None:
    parts = place.split("/")
    assert parts[0] == "v" and len(parts) >= 2
    for part in parts:
        assert (
            part not in ("", ".", "..")
            and part[0] not in ". "
            and part[-1] not in ". "
            and len(part.encode()) <= 255
        )
        assert not set(part) & set('<>:"\\|?*\x00') and part.split(".")[0].lower() != "con"
