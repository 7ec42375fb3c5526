"""A new record joined with the one before: what still holds stays with it, unknown fields and all."""

from types import SimpleNamespace
from typing import Any

from recorded import movie, recorded, still
from rushlight.batch.job_log import failure_record
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.records.merged import _is_of_range, merged, with_delivered, with_outputs
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.measure.checksum import colour_digest
from rushlight.pipelines.measure.out_of_range import range_warnings

TILES = [[[1.0, 2.0, 3.0]] * 16] * 9


def record(*outputs: dict[str, Any], digest: str = "x", **given: Any) -> DeliveredRecord:
    """A record whose outputs show one picture."""
    names = [entry["output"] for entry in outputs]
    colour = {
        "digest": "",
        "pictures": [{"digest": digest, "outputs": names, "grain": "fine"}],
        "tiles": {name: [{"frame": 3, "values": TILES}] for name in names},
        "sensitivity": {"half a stop": 1.5},
        "faults": [{"outputs": names, "frame": 3, "moved": {"legal": TILES}}],
    }
    return DeliveredRecord.read(recorded("a", *outputs, **({"colour": colour} | given)))


EDITORIAL, VIEWING, STILL = movie(), movie(output="viewing", path="viewing/a.mp4", mood="blue"), still()


def test_what_is_to_be_kept_and_was_not_made_again_stays_first() -> None:
    before = record(EDITORIAL, VIEWING, STILL, digest="old")
    new = record(EDITORIAL, digest="new")
    found = merged(new, before, {"editorial", "viewing"})
    assert [(e.output, e.plain().get("mood")) for e in found.outputs] == [
        ("viewing", "blue"),
        ("editorial", None),
    ]
    shown = [(p.digest, p.outputs, p.plain()["grain"]) for p in found.colour.pictures]
    assert shown == [("new", ["editorial"], "fine"), ("old", ["viewing"], "fine")]
    assert list(found.colour.tiles) == ["viewing", "editorial"]
    assert [fault.outputs for fault in found.colour.faults] == [["editorial"], ["viewing"]]
    assert found.colour.digest not in (new.colour.digest, before.colour.digest)
    assert merged(new, before, set()) is new and merged(new, None, {"viewing"}) is new


def test_what_only_the_one_before_has_seen_is_taken_from_it() -> None:
    seen = {"black": [[0, 3]], "repeated": [], "held": []}
    blind = {"digest": "", "pictures": [], "tiles": {}, "sensitivity": {}}
    new = record(STILL, original={}, colour=blind)
    found = merged(new, record(EDITORIAL, original=seen), {"editorial"})
    assert found.plain()["original"] == seen and found.colour.sensitivity == {"half a stop": 1.5}
    kept = merged(
        record(STILL, original=seen | {"black": []}), record(EDITORIAL, original=seen), {"editorial"}
    )
    assert kept.original and kept.original.black == []


def test_what_was_seen_of_frames_that_stay_is_not_forgotten() -> None:
    """A still made again decodes a frame; the movie beside it has its damaged frames and its flashes as before."""
    lost = {"frame": 7, "timecode": "00:00:00:07", "what": "cut short", "lost": True}
    counts = {"over": 90, "under": 0, "outside": 0, "pixels": 1000}
    flash = {
        "kind": "general",
        "first": "00:00:00:02",
        "last": "00:00:00:09",
        "frames": [2, 9],
        "count": 8,
        "most": 5,
    }
    texts = [
        "no grade",
        "delivered with 1 damaged frame: 00:00:00:07",
        "log codes outside the curve's 0 to 1: 9 %",
    ]
    before = record(EDITORIAL, damage=[lost], counts=counts, warnings=texts)
    (picture,) = before.colour.pictures
    flashing = picture.model_copy(update={"flashes": [SimpleNamespace(**flash)]})
    before = before.model_copy(update={"colour": before.colour.model_copy(update={"pictures": [flashing]})})
    new = record(STILL, warnings=["a slate"], counts=counts | {"over": 0, "pixels": 10})
    found = merged(new, before, {"editorial"})
    assert found.warnings[:3] == ["a slate", *texts[1:]] and found.warnings[3].startswith(
        "caution: may flash"
    )
    assert [each.frame for each in found.damage] == [7] and found.counts and found.counts.pixels == 1000
    replaced = merged(new, before, {"editorial"}, {"editorial"})  # by a later turn
    assert replaced.warnings == ["a slate"] and not replaced.damage


def test_sentences_on_what_left_the_range_are_known() -> None:
    look = Look(encoding=find_encoding("LogC3"), display=find_display("Rec.709 BT.1886"), exposure=1)
    most = {"over": 500, "under": 0, "outside": 5, "pixels": 1000}
    said = range_warnings(look, most, most)
    assert len(said) == 3 and all(map(_is_of_range, said)) and not _is_of_range("no grade")


def other_look(digest: str) -> dict[str, Any]:
    return {"digest": digest, "description": "", "layers": [], "display": "P3-D65", "colour": "old"}


def test_looks_stay_with_the_outputs_that_show_them_each_with_the_checksum_of_its_own_pictures() -> None:
    copy, p3 = movie(output="copy", look="producer"), movie(output="p3", look="wide")
    looks = {"producer": other_look("sha256:1"), "wide": other_look("sha256:2")}
    before = record(EDITORIAL, copy, p3, looks=looks)
    shown = [
        {"digest": f"d-{entry['output']}", "outputs": [entry["output"]], "look": entry.get("look", "")}
        for entry in (EDITORIAL, copy, p3)
    ]
    before = before.model_copy(
        update={
            "colour": DeliveredRecord.read(
                recorded("a", colour={**before.colour.plain(), "pictures": shown})
            ).colour
        }
    )
    new = record(EDITORIAL, digest="new")
    found = merged(new, before, {"copy"})
    assert list(found.looks) == ["producer"]
    assert found.looks["producer"].digest == "sha256:1"
    alone = colour_digest({"copy": "d-copy"})
    assert found.looks["producer"].colour == alone != found.colour.digest
    entries = [entry for entry in before.outputs if entry.output != "copy"]
    assert list(with_outputs(before, entries).looks) == ["wide"]
    assert "looks" not in merged(new, record(EDITORIAL, VIEWING), {"viewing"}).plain()


def test_a_record_gives_each_file_the_look_that_it_shows() -> None:
    found = record(
        EDITORIAL, movie(output="copy", look="producer"), looks={"producer": other_look("sha256:1")}
    )
    assert [found.look_of(entry).digest for entry in found.outputs] == ["sha256:0", "sha256:1"]


def test_outputs_that_others_graded_are_told_apart() -> None:
    """By the same versions: as one where the same graded them, else each for itself."""
    made = [{"outputs": [n], "versions": {"rushlight": "1"}} for n in ("editorial", "viewing", "stills")]
    card = [{"by": "Toy", "first": 0, "frames": 3}]
    before = record(EDITORIAL, VIEWING, STILL, made_with=[made[1], {**made[2], "graded_by": card}])
    found = merged(record(EDITORIAL, made_with=[made[0]]), before, {"viewing", "stills"})
    assert [(m.outputs, len(m.graded_by)) for m in found.made_with] == [
        (["editorial", "viewing"], 0),
        (["stills"], 1),
    ]


def test_damage_stays_as_long_as_a_file_that_shows_it() -> None:
    """Of a clip whose original was copied again whole, made again in two goes: the still first."""
    damage = [{"frame": 9, "what": "spoilt"}]
    before = record(EDITORIAL, STILL, damage=damage)
    new = {"revision": 2}
    half = merged(record(STILL | new, **new), before, {"editorial"})
    assert [each.plain() for each in half.damage] == [damage[0] | {"revision": 1}]
    whole = merged(record(EDITORIAL | new, **new), half, {"stills"})
    assert whole.damage == [] and not any("damaged" in text for text in whole.warnings)
    again = merged(
        record(STILL | {"revision": 3}, revision=3),
        record(EDITORIAL | new, damage=damage, **new),
        {"editorial"},
    )
    assert [(each.frame, each.revision) for each in again.damage] == [(9, 2)]  # found in what was made since


def test_a_clip_that_was_not_delivered_still_says_what_was_before() -> None:
    failed = failure_record("a", "A001C001", "failed", "odd")
    assert with_delivered(failed, None) is failed
    lost = {"frame": 7, "timecode": "00:00:00:07", "what": "does not decode", "lost": True}
    made = [{"versions": {"rushlight": "1"}, "outputs": ["editorial"]}]
    before = record(movie(), revision=3, reel="A001", damage=[lost], made_with=made)
    said = with_delivered(failed, before)
    assert (said.status, said.error, said.outputs, said.colour) == (
        "failed",
        "odd",
        before.outputs,
        before.colour,
    )
    assert (said.revision, said.reel, said.finished) == (3, "A001", failed.finished)
    assert (said.damage, said.made_with) == (before.damage, before.made_with) and said.damage
