"""Nights whose people are told: real renders and servers; and a run's events and states, followed."""

from __future__ import annotations

import base64
import json
import threading
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from here import rushlight, small_day
from rushlight.batch.day.shooting_day import ShootingDay, load_day
from rushlight.batch.records.events import event_document
from rushlight.batch.records.night_state import NOW, FramesMade, NightCounts, NightState, PersonNeeded
from rushlight.batch.tell import telling as module
from rushlight.batch.tell.mail import Mail
from rushlight.batch.tell.telling import KEPT, Telling
from told_servers import DAY, KEY, MailServer, mail_server, secret_file, web_server


def told_day(folder: Path, port: int, more: str = "", **clips: int) -> Path:
    """A day of small clips whose people are told by a mail server of this machine."""
    small_day(folder, clips or {"A001C001": 2, "A001C002": 2})
    path = folder / "day.toml"
    path.write_text(DAY.format(port=port) + more)
    return path


def test_a_night_ends_with_a_digest_that_adds_up(tmp_path: Path) -> None:
    with mail_server() as server:
        day = told_day(tmp_path, server.port)
        (tmp_path / "A001C002.mov").write_bytes(b"no movie" * 1000)
        found = rushlight("render", day)
    assert found.returncode == 1, found.stderr
    (mail,) = server.mails
    assert mail["Subject"] == "Der Löschzug, day 12: done, 1 of 2 ready"
    text = mail.get_content()
    assert "2 clips listed = 1 ready + 1 failed" in text and "Ready, the newest first: A001C001.mov" in text
    assert "- A001C002.mov, failed: " in text and f"Page: {tmp_path}/out/report/index.html" in text
    assert "1 clip was not delivered" in text


def test_a_queue_of_the_day_tells_its_people_as_well(tmp_path: Path) -> None:
    with mail_server() as server, web_server() as hook:
        more = f'webhook = "http://127.0.0.1:{hook.port}/in"\nwebhook_key_file = "key"\npage = "smb://cart/out"\n'
        day = told_day(tmp_path, server.port, more)
        secret_file(tmp_path / "key", KEY)
        assert rushlight("queue", "add", day, "--queue", tmp_path / "q").returncode == 0
        assert not server.mails
        assert rushlight("queue", "run", "--queue", tmp_path / "q").returncode == 0
    (mail,) = server.mails
    assert "done, 2 of 2 ready" in mail["Subject"] and "Page: smb://cart/out" in mail.get_content()
    ((_, _, _, body),) = hook.requests
    document = json.loads(body)
    assert document["type"] == "night.done" and document["data"]["folders"][0]["counts"]["delivered"] == 2


def test_a_queue_of_two_days_tells_each_its_own_people(tmp_path: Path) -> None:
    with mail_server() as one, mail_server() as other:
        days = (
            told_day(tmp_path / "a", one.port, A001C001=2),
            told_day(tmp_path / "b", other.port, B001C001=2),
        )
        days[1].write_text(days[1].read_text().replace('"12"', '"13"'))
        assert rushlight("queue", "add", *days, "--queue", tmp_path / "q").returncode == 0
        assert rushlight("queue", "run", "--queue", tmp_path / "q").returncode == 0
    assert [m["Subject"] for m in one.mails] == ["Der Löschzug, day 12: done, 1 of 1 ready"]
    assert [m["Subject"] for m in other.mails] == ["Der Löschzug, day 13: done, 1 of 1 ready"]
    assert (
        "A001C001" not in other.mails[0].get_content()
        and str(tmp_path / "a") not in other.mails[0].get_content()
    )


@pytest.mark.parametrize("fault", ["not there", "hangs", "says no", "no encryption"])
def test_whatever_the_mail_server_does_the_night_is_the_same(
    tmp_path: Path, fault: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rushlight.batch.tell.channels.Mail", partial(Mail, seconds=0.2))
    monkeypatch.setattr("rushlight.batch.tell.sending.WAITS", (0.0, 0.0))
    answers = {"MAIL": "550 no"} if fault == "says no" else {}
    with mail_server(silent=fault == "hangs", answers=answers) as server:
        day = told_day(tmp_path, server.port)
        if fault == "no encryption":
            day.write_text(day.read_text().replace('"none"', '"starttls"'))
        if fault == "not there":
            day.write_text(day.read_text().replace(str(server.port), "1"))
        found = rushlight("render", day)
    assert found.returncode == 0 and not server.mails
    assert (
        found.stdout.count("telling: mail: 127.0.0.1:") + found.stderr.count("telling: mail: 127.0.0.1:") == 1
    )
    words = {
        "not there": "nothing listens there", "hangs": "did not answer", "says no": "550 no",
        "no encryption": "does not offer encryption",
    }  # fmt: skip
    assert words[fault] in found.stdout + found.stderr


def test_a_secret_is_in_nothing_that_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("rushlight.batch.tell.sending.WAITS", (0.0, 0.0))
    password, token = "pl4nted-passw0rd", "T0KEN-of-the-hook"
    forms = {
        password,
        token,
        KEY,
        base64.b64encode(f"\0cart\0{password}".encode()).decode(),
        base64.b64encode(password.encode()).decode(),
    }
    with web_server(status=lambda n: 500) as hook, mail_server() as server:
        day = told_day(tmp_path / "day", server.port, 'user = "cart"\n')
        day.write_text(day.read_text().replace('"none"', '"starttls"'))
        env = {
            "RUSHLIGHT_MAIL_PASSWORD": password,
            "RUSHLIGHT_WEBHOOK": f"http://127.0.0.1:{hook.port}/{token}",
            "RUSHLIGHT_WEBHOOK_KEY": KEY,
        }
        queue = tmp_path / "day" / "q"
        said = [rushlight("queue", "add", day, "--queue", queue, **env)]
        said.append(rushlight("queue", "run", "--queue", queue, "--json", **env))
        said.append(rushlight("render", day, **env))
        said.append(rushlight("day", "tell", day, "--test", **env))
        said.append(rushlight("day", "tell", day, "--test", "--json", **env))
    assert len(hook.requests) == 12 and hook.requests[0][1] == f"/{token}"
    assert "NOT SENT" in said[3].stdout and said[3].returncode == said[4].returncode == 1
    written = b"".join(path.read_bytes() for path in (tmp_path / "day").rglob("*") if path.is_file())
    written += "".join(each.stdout + each.stderr for each in said).encode()
    written += b"".join(body for _, _, _, body in hook.requests)
    assert b"telling" in written
    assert [form for form in forms if form.encode() in written] == []


def test_a_secret_that_others_may_read_costs_the_mail_and_not_the_night(tmp_path: Path) -> None:
    with mail_server() as server:
        day = told_day(tmp_path, server.port, 'user = "cart"\npassword_file = "password"\n')
        day.write_text(day.read_text().replace('"none"', '"starttls"'))
        secret_file(tmp_path / "password", "hush", 0o644)
        found = rushlight("render", day)
    assert found.returncode == 0 and "chmod 600" in found.stdout + found.stderr
    assert not server.said


def test_names_of_clips_are_text_and_nothing_else(tmp_path: Path) -> None:
    """A line break in a clip's name, a title and an address of the page is written out."""
    with mail_server() as server:
        day = told_day(tmp_path, server.port, 'page = "x\\r\\nBcc: c@example.com"\n')
        day.write_text(day.read_text().replace("Der Löschzug", "Der\\r\\nBcc: a@example.com\\u202e"))
        (tmp_path / "day.csv").write_text(
            'clip,encoding,levels\n"A001\nBcc: b@example.com",LogC3,narrow\nA001C001.mov,LogC3,narrow\n'
        )
        assert rushlight("render", day).returncode == 1
    (mail,) = server.mails
    assert mail["Bcc"] is None and mail["Subject"].startswith("Der\\r\\nBcc: a@example.com\\u202e")
    lines = mail.get_content().splitlines()
    assert not any(line.startswith("Bcc") for line in lines)
    assert any("A001\\nBcc: b@example.com" in line for line in lines)


def test_a_day_that_is_named_from_its_own_folder_tells_as_well(tmp_path: Path) -> None:
    with mail_server() as server:
        told_day(tmp_path, server.port, A001C001=2)
        assert rushlight("render", "day.toml", cwd=tmp_path).returncode == 0
    (mail,) = server.mails
    assert mail["Subject"].endswith("done, 1 of 1 ready") and "1 clip listed = 1 ready" in mail.get_content()


def test_a_night_that_is_refused_again_and_again_is_told_once(tmp_path: Path) -> None:
    with mail_server() as server:
        day = told_day(tmp_path, server.port)
        (tmp_path / "out").mkdir()
        (tmp_path / "day.csv").unlink()
        for _ in range(3):
            assert rushlight("render", day).returncode == 2
        assert [mail["Subject"] for mail in server.mails] == ["Der Löschzug, day 12: nothing was made"]
        small_day(tmp_path, {"A001C001": 2})
        (tmp_path / "two.toml").write_text("name = 5")
        assert rushlight("render", day).returncode == 2
    assert len(server.mails) == 2, "for another reason it is told"


def test_nobody_named_is_nobody_told(tmp_path: Path) -> None:
    day = told_day(tmp_path, 1)
    day.write_text(day.read_text().partition("[tell]")[0])
    assert rushlight("render", day).returncode == 0 and not (tmp_path / "out" / KEPT).exists()


# --- a run followed, without one


@pytest.fixture
def server() -> object:
    with mail_server() as found:
        yield found


def followed(tmp_path: Path, server: MailServer, more: str = "") -> tuple[ShootingDay, Telling, list[str]]:
    path = tmp_path / "day.toml"
    path.write_text(DAY.format(port=server.port) + more)
    (tmp_path / "out" / "report").mkdir(parents=True, exist_ok=True)
    (tmp_path / "out" / "log").mkdir(exist_ok=True)
    day, warnings = load_day(path), list[str]()
    return day, Telling(warnings.append, day), warnings


def state(phase: str = "rendering", text: str = "", needs: tuple[str, ...] = (), **counts: int) -> NightState:
    counts = counts or {"delivered": 1, "running": 1}
    whole = {
        "listed": sum(counts.values()),
        "delivered": 0,
        "running": 0,
        "waiting": 0,
        "held": 0,
        "set_aside": 0,
    }
    return NightState(
        schema=NOW,
        title="x",
        written="2026-11-27T03:12:00+01:00",
        phase=phase,  # type: ignore[arg-type]
        text=text,
        counts=NightCounts(**({"failed": 0} | whole | counts)),
        frames=FramesMade(made=0, of=0),
        needs=[PersonNeeded(what="failed", name=name, text="broken") for name in needs],
    )


def event(what: str, **data: object) -> object:
    return event_document(
        sequence=1, time="2026-11-27T03:12:00+01:00", data={"event": what, "clip": "", **data}
    )


def test_what_changes_is_told_while_it_runs(tmp_path: Path, server: MailServer) -> None:
    day, telling, _ = followed(tmp_path, server)
    out = day.folders[0].absolute()
    telling.hold(out, tmp_path / "q")
    telling.state(out, state())
    telling.look(1000.0)
    telling.follow(event("paused", text="no room"))  # type: ignore[arg-type]
    telling.state(out, state("paused", "no room", needs=("A001C009",)))
    for now in range(1100, 1200):
        telling.look(float(now))
    (mail,) = server.mails
    assert mail["Subject"] == "Der Löschzug, day 12: paused, 1 of 2 ready"
    assert "Paused: no room." in mail.get_content() and "- A001C009, failed: broken" in mail.get_content()
    assert "report/now.html" in mail.get_content()


def test_fifty_pauses_are_told_once_and_summed_up_at_the_end(tmp_path: Path, server: MailServer) -> None:
    day, telling, _ = followed(tmp_path, server)
    out = day.folders[0].absolute()
    telling.hold(out, tmp_path / "q")
    for number in range(50):
        telling.follow(event("paused", text="no room"))  # type: ignore[arg-type]
        telling.state(out, state("paused", "no room"))
        telling.look(1000.0 + 2 * number)
        telling.state(out, state())
        telling.look(1001.0 + 2 * number)
    telling.state(out, state("over", delivered=2))
    with telling:
        telling.ended("", stopped=False)
    (mail,) = server.mails
    assert "done, 2 of 2 ready" in mail["Subject"] and "It paused 50 times." in mail.get_content()


def test_a_run_that_died_is_told_by_the_one_that_goes_on(tmp_path: Path, server: MailServer) -> None:
    day, telling, _ = followed(tmp_path, server)
    out = day.folders[0].absolute()
    (out / "report" / "now.json").write_text(json.dumps(state(needs=("A001C009",)).plain()))
    telling.hold(out, tmp_path / "q")
    telling.state(out, state(needs=("A001C009",)))
    for now in range(1100, 1200):
        telling.look(float(now))
    (mail,) = server.mails
    assert (
        "ended unexpectedly, goes on, 1 of 2 ready" in mail["Subject"]
        and "at about 03:12" in mail.get_content()
    )
    assert "A001C009" not in mail.get_content(), "it was told by the run before"


def test_a_run_that_dies_again_and_again_is_no_flood(tmp_path: Path, server: MailServer) -> None:
    for start in range(0, 600, 60):
        day, telling, _ = followed(tmp_path, server)
        out = day.folders[0].absolute()
        (out / "report" / "now.json").write_text(json.dumps(state().plain()))
        telling.hold(out, tmp_path / "q")
        telling.state(out, state())
        for now in range(50):
            telling.look(1000.0 + start + now)
    assert len(server.mails) == 1


def test_late_is_told_when_it_is_measured(tmp_path: Path, server: MailServer) -> None:
    day, telling, _ = followed(tmp_path, server)
    out = day.folders[0].absolute()
    telling.hold(out, tmp_path / "q")
    late = {"text": "all by 07:00", "ready_by": "x", "all_ready": "x", "ready": [], "late": ["A"]}
    for measured, mails in ((False, 0), (True, 1)):
        telling.follow(event("late", **late, measured=measured))  # type: ignore[arg-type]
        telling.state(out, state())
        for now in range(1000, 1030):
            telling.look(float(now))
        assert len(server.mails) == mails
    assert server.mails[0]["Subject"] == "Der Löschzug, day 12: will be late, 1 of 2 ready"


@pytest.mark.parametrize(
    ("error", "stopped", "subject"),
    [
        ("", True, "stopped, 1 of 2 ready"),
        ("a bolt of lightning", False, "broken off, 1 of 2 ready"),
        ("", False, "done, 1 of 2 ready"),
    ],
)
def test_how_it_ended_is_told(
    tmp_path: Path, server: MailServer, error: str, stopped: bool, subject: str
) -> None:
    day, telling, _ = followed(tmp_path, server)
    out = day.folders[0].absolute()
    telling.hold(out, tmp_path / "q")
    telling.state(out, state("over", delivered=1, failed=1) if not error and not stopped else state())
    with telling:
        telling.ended(error, stopped=stopped)
    (mail,) = server.mails
    assert mail["Subject"] == f"Der Löschzug, day 12: {subject}" and error in mail.get_content()


def test_a_night_that_was_refused_is_told(tmp_path: Path, server: MailServer) -> None:
    _, telling, _ = followed(tmp_path, server)
    with telling:
        telling.ended("day.csv: there is no such list", stopped=False)
    (mail,) = server.mails
    assert mail["Subject"] == "Der Löschzug, day 12: nothing was made"
    assert "there is no such list" in mail.get_content()


def test_what_is_not_wanted_is_not_sent(tmp_path: Path, server: MailServer) -> None:
    _, telling, _ = followed(tmp_path, server, 'changes = ["done"]\n')
    with telling:
        telling.ended("no", stopped=False)
    assert not server.mails


def test_a_server_that_never_answers_does_not_keep_the_night(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "END", 0.3)
    with mail_server(trickles=True) as server:
        _, telling, warnings = followed(tmp_path, server)
        with telling:
            telling.ended("no", stopped=False)
    assert warnings == ["telling: the last message was not sent within 0 s; the night is not touched by that"]


def test_a_fault_of_ours_is_said_and_ends_nothing(tmp_path: Path, server: MailServer) -> None:
    _, telling, warnings = followed(tmp_path, server)
    telling._days[tmp_path / "day.toml"].channels.append(None)  # type: ignore[arg-type]
    with telling:
        telling.ended("no", stopped=False)
    assert len(server.mails) == 1 and "a fault of rushlight's own" in warnings[0]


def test_the_night_is_not_kept_while_something_is_sent(tmp_path: Path) -> None:
    """Events, folders and states are taken while a server hangs."""
    with mail_server(silent=True) as server:
        day, telling, _ = followed(tmp_path, server)
        out = day.folders[0].absolute()
        telling.hold(out, tmp_path / "q")
        telling.state(out, state("paused", "no room"))
        telling.look(1000.0)
        sending = threading.Thread(target=telling.look, args=(1100.0,), daemon=True)
        sending.start()
        until = time.monotonic() + 10
        while not (server.said or _talks(sending)) and time.monotonic() < until:
            time.sleep(0.01)
        done = threading.Event()
        _aside(lambda: (telling.state(out, state()), telling.follow(event("paused", text="x")), done.set()))  # type: ignore[arg-type]
        assert done.wait(5) and sending.is_alive()


def _talks(thread: threading.Thread) -> bool:
    return thread.is_alive() and any(t.name == "tell by mail" for t in threading.enumerate())


def _aside(call: Callable[[], object]) -> None:
    threading.Thread(target=call, daemon=True).start()
