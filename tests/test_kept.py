"""The count of originals and verify's verdicts, kept beside the log."""

from pathlib import Path

import pytest

from rushlight.batch.kept import VERDICTS, keep_media, keep_verdicts, kept_media, kept_verdicts
from rushlight.batch.reconcile import Media

MEDIA = Media(
    listed=2,
    not_listed=(Path("/card/\udcff.mov"),),  # a name that is no UTF-8
    unreadable=((Path("/card/b.r3d"), "is camera raw"),),
    ignored=3,
    absent=(("c.mov", Path("/card/1.mhl")),),
)


def test_what_is_kept_reads_back(tmp_path: Path) -> None:
    assert kept_media(tmp_path) is None and kept_verdicts(tmp_path) is None
    keep_media(MEDIA, tmp_path)
    found = kept_media(tmp_path)
    assert found is not None and found["found"] == 7 == 2 + 1 + 1 + 3
    assert found["not_listed"] == ["/card/\udcff.mov"] and found["absent"] == [["c.mov", "/card/1.mhl"]]
    keep_verdicts({"schema": VERDICTS, "clips": []}, tmp_path)
    assert kept_verdicts(tmp_path) == {"schema": VERDICTS, "clips": []}
    assert {p.name for p in (tmp_path / "log").iterdir()} == {"media.json", "verify.json"}
    keep_media(None, tmp_path)  # this time no folder was given: the old count no longer holds
    assert kept_media(tmp_path) is None
    keep_media(None, tmp_path)


@pytest.mark.parametrize("text", ["", "{", "[]", '{"schema": "another"}', "\x00"])
def test_what_does_not_read_is_as_if_it_were_not_there(text: str, tmp_path: Path) -> None:
    (tmp_path / "log").mkdir()
    (tmp_path / "log" / "media.json").write_text(text)
    (tmp_path / "log" / "verify.json").write_text(text)
    assert kept_media(tmp_path) is None and kept_verdicts(tmp_path) is None
