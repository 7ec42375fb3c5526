"""A queue that somebody else owns or may write is refused, and so is one that leads out of its folder."""

import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from rushlight.batch.queue import ownership
from rushlight.batch.queue.store import Store, open_store
from rushlight.pipelines.errors import QueueError


@pytest.fixture
def queue(tmp_path: Path) -> Path:
    """A queue of this user's, in a folder of its own."""
    place = tmp_path / "state" / "queue.sqlite"
    open_store(place).close()
    return place


def test_what_this_user_made_is_taken(queue: Path) -> None:
    assert queue.stat().st_mode & 0o777 == 0o600 and queue.parent.stat().st_mode & 0o777 == 0o700
    queue.chmod(0o644)
    open_store(queue).close()


@pytest.mark.parametrize("mode", [0o646, 0o602])
def test_a_file_that_everybody_may_write(mode: int, queue: Path) -> None:
    queue.chmod(mode)
    with pytest.raises(
        QueueError, match=r"queue.sqlite: the file .* may be written by everybody.*chmod go-w"
    ):
        open_store(queue)


@pytest.mark.parametrize("mode", [0o777, 0o1777])
def test_a_folder_that_everybody_may_write(mode: int, queue: Path) -> None:
    queue.parent.chmod(mode)  # sticky or not: SQLite reads a journal that anybody may put beside the queue
    with pytest.raises(QueueError, match=r"the folder .* may be written by everybody.*--queue"):
        open_store(queue)


def test_a_group_is_others_unless_it_is_the_users_own(queue: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    queue.chmod(0o660)
    monkeypatch.setattr(ownership, "_private", lambda gid: False)
    with pytest.raises(QueueError, match="may be written by the group"):
        open_store(queue)
    monkeypatch.setattr(ownership, "_private", lambda gid: True)  # a umask of 002, and a group of one's own
    open_store(queue).close()


def test_which_group_is_private(monkeypatch: pytest.MonkeyPatch) -> None:
    class Group:
        gr_name, gr_mem = "ann", ["ann"]

    class User:
        pw_name, pw_gid = "ann", 1000

    monkeypatch.setattr(ownership.pwd, "getpwuid", lambda uid: User)
    monkeypatch.setattr(ownership.grp, "getgrgid", lambda gid: Group)
    assert ownership._private(1000) and not ownership._private(1001)
    Group.gr_mem = ["ann", "ben"]
    assert not ownership._private(1000)
    Group.gr_name, Group.gr_mem = "staff", []
    assert not ownership._private(1000)

    def unknown(number: int) -> None:
        raise KeyError(number)

    monkeypatch.setattr(ownership.pwd, "getpwuid", unknown)
    assert not ownership._private(1000)


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may give a file to somebody else")
@pytest.mark.parametrize("which", ["file", "folder", "journal"])
def test_what_belongs_to_somebody_else(which: str, queue: Path) -> None:
    place = {"file": queue, "folder": queue.parent, "journal": queue.with_name("queue.sqlite-journal")}[which]
    if which == "journal":
        place.touch()
    os.chown(place, 54321, -1)
    with pytest.raises(QueueError, match="belongs to user 54321"):
        open_store(queue)


def test_a_link_is_followed_to_what_it_leads_to(queue: Path, tmp_path: Path) -> None:
    link = tmp_path / "mine.sqlite"
    link.symlink_to(queue)
    open_store(link).close()
    queue.parent.chmod(0o777)
    with pytest.raises(QueueError, match="may be written by everybody"):
        open_store(link)


@pytest.mark.parametrize("side", ownership.SIDES)
def test_an_output_folders_queue_is_no_link(side: str, tmp_path: Path, queue: Path) -> None:
    out = tmp_path / "out"
    (out / ".work").mkdir(parents=True)
    before = queue.read_bytes()
    (out / ".work" / f"queue.sqlite{side}").symlink_to(queue)
    with pytest.raises(QueueError, match="is a symbolic link"):
        open_store(out / ".work" / "queue.sqlite", of=out)
    assert queue.read_bytes() == before


def test_a_journal_that_names_other_files(queue: Path) -> None:
    """SQLite would remove the other file once it has rolled back."""
    journal = queue.with_name("queue.sqlite-journal")
    journal.write_bytes(b"x" * 600 + bytes.fromhex("d9d505f920a163d7"))
    with pytest.raises(QueueError, match="names other files"):
        open_store(queue)
    assert journal.exists()


@pytest.mark.parametrize(
    "schema",
    [
        "CREATE TRIGGER t AFTER UPDATE ON job BEGIN UPDATE job SET out='/'; END",
        "CREATE VIEW other AS SELECT * FROM job",
    ],
)
def test_a_queue_with_triggers_or_views(schema: str, queue: Path) -> None:
    with closing(sqlite3.connect(queue)) as db:
        db.execute(schema)
        db.commit()
    with pytest.raises(QueueError, match="triggers or views"):
        Store(queue)
