"""A header's fields have names for people; what is no field of ours is split into its words."""

import pytest

from rushlight.batch.report.header_words import header_in_words, said_by_in_words


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("cameraCCTSetting", "white balance that the camera was set to"),
        ("dpx:InputDevice", "model of the camera"),
        ("com.apple.quicktime.model", "model of the camera"),
        ("org.example.camera.shutter_angle", "shutter angle"),
        ("dpx:EndOfLinePadding", "end of line padding"),
        ("compatible_brands", "compatible brands"),
        ("file_package_umid", "file package umid"),
        ("Exif:ISOSpeedRatings", "ISO speed ratings"),
        ("FramesPerSecond", "frames per second"),
        ("dpx:TimeCode", "timecode"),
        ("v1.2", "v 1 2"),
        ("¤", "¤"),
        ("_", "_"),
        ("a:", "a :"),
    ],
)
def test_keys_in_words(key: str, words: str) -> None:
    assert header_in_words({key: "x"}) == [(words, "x")]


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("335544320 0", "14:00:00:00"),
        (f"{0x23595923 | 0x40} 0", "23:59:59;23"),
        ("14:00:00:00", "14:00:00:00"),
        ("99999999999 0", "99999999999 0"),
        ("", ""),
    ],
)
def test_a_timecode_word_is_a_timecode(value: str, shown: str) -> None:
    assert header_in_words({"smpte:TimeCode": value}) == [("timecode", shown)]


def test_what_two_fields_say_alike_is_shown_once_and_a_librarys_notes_not_at_all() -> None:
    header = {"dpx:TimeCode": "14:00:00:00", "smpte:TimeCode": "335544320 0", "oiio:BitsPerSample": "10"}
    assert header_in_words(header) == [("timecode", "14:00:00:00")]
    assert header_in_words({"dpx:TimeCode": "1", "timecode": "2"}) == [("timecode", "1"), ("timecode", "2")]


def test_who_says_so() -> None:
    assert said_by_in_words("its header (dpx:ShutterAngle)") == "its header (shutter angle)"
    assert said_by_in_words("the list") == "the list"
