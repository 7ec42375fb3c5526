"""A closed delivery is told by what it says of itself, and by nothing less."""

from pathlib import Path

import pytest

from handed import delivered
from rushlight.batch.closed_delivery import CLOSED, closed_delivery, refuse_closed
from rushlight.batch.handover.hand_over import Asked, hand_over
from rushlight.pipelines.errors import OptionError


def test_what_is_one_and_what_is_none(tmp_path: Path) -> None:
    out = delivered(tmp_path / "out")
    folder = hand_over(Asked(out=out, name="editor")).folder
    assert folder == tmp_path.resolve() / "editor_001"
    found = closed_delivery(folder)
    assert found is not None and found.folder == "editor_001"
    with pytest.raises(OptionError, match=r"is the closed delivery editor_001, .*; use another"):
        refuse_closed(folder, "use another")
    for other in (out, tmp_path / "none", folder / "letter.txt"):
        assert closed_delivery(other) is None
        refuse_closed(other, "")


@pytest.mark.parametrize(
    "text", ["", "{}", "[]", '{"schema": "rushlight-handover-2"}', "\x00", "[" * 100_000]
)
def test_another_file_of_that_name(text: str, tmp_path: Path) -> None:
    (tmp_path / CLOSED).write_text(text)
    assert closed_delivery(tmp_path) is None
    with pytest.raises(OptionError, match=r"may be a closed delivery.*; use another\. If it is none, take"):
        refuse_closed(tmp_path, "use another")  # a newer version's, or a damaged one, is not written into


def test_a_link_of_that_name(tmp_path: Path) -> None:
    folder = hand_over(Asked(out=delivered(tmp_path / "out"), name="editor")).folder
    assert folder
    (tmp_path / CLOSED).symlink_to(folder / CLOSED)
    assert closed_delivery(tmp_path) is None
