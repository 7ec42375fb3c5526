"""`rushlight.day.tell`: who is told of a day, as values."""

from __future__ import annotations

from pathlib import Path

import pytest

import rushlight
from rushlight.batch.api.tell import tell
from told_servers import DAY, mail_server


def test_who_is_told_is_said_and_a_test_is_answered(tmp_path: Path) -> None:
    with mail_server() as server:
        (tmp_path / "day.toml").write_text(DAY.format(port=server.port))
        told = rushlight.day.tell(tmp_path / "day.toml")
        assert told.code == 0 and told.answers == () and not server.mails
        assert told.channels[0].startswith("mail to dit@example.com from cart@example.com by 127.0.0.1:")
        assert told.title == "Der Löschzug, day 12" and "begun" not in told.changes and told.every == 15
        (answer,) = tell(str(tmp_path / "day.toml"), test=True).answers
    assert answer.taken and answer.channel == "mail" and len(server.mails) == 1


def test_nobody_named_is_said(tmp_path: Path) -> None:
    (tmp_path / "day.toml").write_text('day = "1"\n')
    with pytest.raises(rushlight.InputError, match="names nobody to be told"):
        tell(tmp_path / "day.toml")
