"""`rushlight day tell`: who is told, a test message, and what each server answered."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from here import rushlight
from told_servers import DAY, KEY, mail_server, secret_file, web_server


def test_the_test_says_what_each_server_answered(tmp_path: Path) -> None:
    with mail_server() as server, web_server(status=lambda n: 404) as hook:
        more = f'webhook = "http://127.0.0.1:{hook.port}/in"\nwebhook_key_file = "key"\n'
        day = tmp_path / "day.toml"
        day.write_text(DAY.format(port=server.port) + more)
        secret_file(tmp_path / "key", KEY)
        plain = rushlight("day", "tell", day)
        assert plain.returncode == 0 and not server.mails and "NOT encrypted" in plain.stdout
        found = rushlight("day", "tell", day, "--test")
        assert found.returncode == 1
        assert "mail: sent:" in found.stdout and "250 kept as 4711" in found.stdout
        assert "webhook: NOT SENT:" in found.stdout and "answered 404" in found.stdout
        assert server.mails[0]["Subject"] == "Der Löschzug, day 12: test"
        document = json.loads(rushlight("day", "tell", day, "--test", "--json").stdout)
        assert [(a["channel"], a["taken"]) for a in document["answers"]] == [
            ("mail", True),
            ("webhook", False),
        ]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "names nobody to be told"),
        ('[tell]\nwebhook = "https://example.com/x"\n', "openssl rand -base64 32"),
        ('[tell]\nmail = "a@b.example"\nserver = "s.example"\nsender = "c@b.example"\nuser = "c"\n', "RUSHLIGHT_MAIL_PASSWORD"),
        ('[tell]\nwebhook = "https://example.com/x"\nca_file = "none.pem"\n', "no such certificate"),
    ],
)  # fmt: skip
def test_what_is_missing_is_said(tmp_path: Path, text: str, words: str) -> None:
    (tmp_path / "day.toml").write_text(text)
    found = rushlight("day", "tell", tmp_path / "day.toml", "--test")
    assert found.returncode == 2 and words in found.stderr
