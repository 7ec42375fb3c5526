"""What nobody states of a camera, in words: where its lines belong, and the lines as they are to stand."""

from rushlight.batch.records.summary import Missing

MISSING = Missing(
    key="encoding",
    camera="camera A",
    text="nobody states the encoding of camera A",
    clips=["a.mov"],
    alone=["a.mov"],
    suggested="",
    file="day.toml",
    lines='[[default]]\ncamera = "A"',
)


def test_words() -> None:
    assert MISSING.said(" ") == (
        'nobody states the encoding of camera A. Put this into day.toml:\n [[default]]\n camera = "A"'
    )
    nowhere = MISSING.model_copy(update={"file": ""})
    assert nowhere.sentence.endswith("Put this into a day.toml, or a file for --defaults:")
    assert Missing.read(MISSING.plain()) == MISSING
