"""Facts of the camera: a row's cell beats the header, and who says each is kept."""

from recorded import recorded
from rushlight.batch.cameras.camera_facts import camera_facts, recorded_camera_facts
from rushlight.batch.records.job_record import read_record
from rushlight.batch.records.original import CameraFact, facts_text

HEADER = {
    "com.apple.quicktime.make": "Halden",
    "com.apple.quicktime.model": "H7",
    "org.halden.camera.iso": "800",
    "org.halden.camera.white_balance": "5600",
}


def test_a_row_beats_the_header_and_each_says_who() -> None:
    row = {"clip": "A001C001.mov", "iso": "1600", "lens": "Norrin 35 mm", "white_balance": "3200K"}
    facts = camera_facts(row, {"lens": "lenses.csv:3"}, HEADER)
    assert {name: (fact.value, fact.said_by) for name, fact in facts.items()} == {
        "camera_make": ("Halden", "its header (com.apple.quicktime.make)"),
        "camera_model": ("H7", "its header (com.apple.quicktime.model)"),
        "lens": ("Norrin 35 mm", "lenses.csv:3"),
        "iso": ("1600", "the list"),
        "wb": ("5600K", "its header (org.halden.camera.white_balance)"),  # the row's is a correction
    }
    assert facts_text(facts) == "Halden H7; Norrin 35 mm; ISO 1600; 5600K"


def test_the_exposure_index_of_the_encoding_is_the_cameras() -> None:
    assert camera_facts({"exposure_index": "500"}, {}, HEADER)["iso"].value == "500"
    assert camera_facts({"exposure_index": "500", "iso": "640"}, {}, {})["iso"].value == "640"


def test_one_of_defaults_beats_the_header_and_gives_way_to_the_row() -> None:
    index = CameraFact(value="400", said_by="side.toml: default[0]")
    assert camera_facts({}, {}, HEADER, index=index)["iso"] == index
    assert camera_facts({"iso": "640"}, {}, HEADER, index=index)["iso"].value == "640"
    record = read_record(recorded("a", camera_facts={"iso": index.plain()}))
    assert recorded_camera_facts(record)["iso"] == index
    from_header = read_record(
        recorded("a", camera_facts={"iso": {"value": "800", "said_by": "its header (x)"}})
    )
    assert recorded_camera_facts(from_header) == {}


def test_nobody_states_any() -> None:
    assert camera_facts({"clip": "a.mov"}, {}, {"encoder": "Lavf62"}) == {}
    assert facts_text({}) == ""
