"""ASC MHL 2.0 manifests: published values, and the standard's own library as the reader."""

import os
import random
import subprocess
import sys
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
import xxhash
from hypothesis import given
from hypothesis import strategies as st

from recorded import movie, recorded
from rushlight.batch.job_log import failure_record
from rushlight.batch.records.job_record import read_record
from rushlight.batch.report.mhl_manifest import ManifestFile, delivered_files, write_manifest
from rushlight.pipelines.errors import DeliveryError
from rushlight.pipelines.manifests.hash_kinds import c4

WHEN = datetime(2026, 11, 25, 3, 4, 5, tzinfo=timezone(timedelta(hours=2)))


def made(root: Path, **files: bytes) -> list[ManifestFile]:
    """Files in `root` (`__` in a name for `/`, `_` before its extension), and what a record says of them."""
    for name, data in files.items():
        path = root / name.replace("__", "/").replace("_", ".")
        path.parent.mkdir(parents=True, exist_ok=True)
        if not path.exists() or path.read_bytes() != data:
            path.write_bytes(data)
    found = []
    for path in sorted(root.rglob("*")):
        if path.is_file() and not {"ascmhl", "log"} & set(path.relative_to(root).parts):
            info = path.stat()
            found.append(
                ManifestFile(
                    path=path.relative_to(root).as_posix(),
                    size=info.st_size,
                    mtime_ns=info.st_mtime_ns,
                    xxh128=xxhash.xxh3_128_hexdigest(path.read_bytes()),
                )
            )
    return found


def write(root: Path, files: list[ManifestFile], seconds: int = 0) -> Path | None:
    return write_manifest(
        root,
        files,
        when=WHEN + timedelta(seconds=seconds),
        host="cart",
        version="1.0",
        retired="log/manifests",
        ignore=("log/",),
    )


def reference(
    *arguments: object, tool: str = "ascmhl", command: str = "mhltool_cli"
) -> subprocess.CompletedProcess[str]:
    """The standard's own tool."""
    pytest.importorskip("ascmhl", reason="the standard's own library, ascmhl, is not installed")
    call = f"from ascmhl.cli.{tool} import {command}; {command}()"
    return subprocess.run(
        [sys.executable, "-W", "ignore", "-c", call, *map(str, arguments)],
        capture_output=True,
        text=True,
        env={**os.environ, "LC_ALL": "C.UTF-8"},
    )


def verified(root: Path) -> subprocess.CompletedProcess[str]:
    return reference("verify", root, tool="ascmhl_debug", command="mhldebugtool_cli")


def test_c4_of_published_bytes() -> None:
    """ASC MHL specification v1.0, appendix D: `media-hash-list` and nothing; `abcd\\n` from its example scenarios."""
    assert c4(b"abcd\n") == (
        "c43LpzjA4DGCZ4Y3HbXsL7TLfaCY7wTCC27X7KAirGFcKTg7f4B8aKx7qiLitCaf9wgpLJL6QQjfdKH4dMrk2z5SRG"
    )
    assert c4(b"") == (
        "c459dsjfscH38cYeXXYogktxf4Cd9ibshE3BHUo6a58hBXmRQdZrAkZzsWcbWtDg5oQstpDuni4Hirj75GEmTc1sFT"
    )
    assert c4(b"media-hash-list") == (
        "c456LycWwpMMS7VDZEKvYv2L1uJS6s4qAFnaJdnQiy5JVbBFZMA8aLDS6SPaJjLqxXH4qZdnbuktopMt9frtC2qL1R"
    )


def test_the_standards_tool_reads_and_verifies_it(tmp_path: Path) -> None:
    root = tmp_path / "editorial"
    files = made(
        root, A002__a_mov=b"abcd\n", A002__B__b_mov=b"def\n", c_mov=b"", **{"täke <1> & 2_mov": b"x" * 70000}
    )
    path = write(root, files)
    assert path is not None and path.name == "0001_editorial_2026-11-25_010405Z.mhl"
    run = verified(root)
    assert run.returncode == 0, run.stdout + run.stderr
    run = reference("diff", root)
    assert run.returncode == 0, run.stdout + run.stderr
    # its own next generation finds every file and folder as we left it
    run = reference("create", root, "-h", "xxh128", "-v")
    assert run.returncode == 0, run.stdout + run.stderr
    assert "failed" not in (run.stdout + run.stderr).lower()
    second = next(root.glob("ascmhl/0002_*.mhl")).read_text()
    assert second.count('action="verified"') >= len(files) and 'action="original"' not in second
    first = path.read_text()
    for kind in ("content", "structure"):
        assert _folder_hashes(first, kind) == _folder_hashes(second, kind)
    # and ours goes on from its generation
    assert write(root, files, 1) is None
    third = write(root, made(root, d_mov=b"new"), 2)
    assert third is not None and third.name.startswith("0003_") and third.read_text().count("<hash>") == 1
    assert verified(root).returncode == 0


def _folder_hashes(text: str, kind: str) -> set[str]:
    from xml.etree import ElementTree

    space = "{urn:ASC:MHL:v2.0}"
    return {
        node.text or "" for node in ElementTree.fromstring(text).iterfind(f".//{space}{kind}/{space}xxh128")
    }


def test_a_bad_copy_is_found_by_the_standards_tool(tmp_path: Path) -> None:
    root = tmp_path / "viewing"
    files = made(root, a_mov=b"abcd\n", b_mov=b"def\n")
    write(root, files)
    (root / "a.mov").write_bytes(b"abcD\n")
    run = verified(root)
    assert (
        run.returncode != 0
        and "hash mismatch" in run.stdout + run.stderr
        and "a.mov" in run.stdout + run.stderr
    )
    (root / "a.mov").write_bytes(b"abcd\n")
    assert verified(root).returncode == 0
    (root / "b.mov").unlink()
    run = reference("diff", root)
    assert run.returncode != 0 and "b.mov" in run.stdout + run.stderr


def test_a_remade_file_begins_a_new_history(tmp_path: Path) -> None:
    root = tmp_path / "editorial"
    files = made(root, a_mov=b"one", b_mov=b"two")
    write(root, files)
    path = write(root, made(root, a_mov=b"one again"), 60)
    assert path is not None and path.name.startswith("0001_")
    assert path.read_text().count("<hash>") == 2
    (kept,) = (root / "log" / "manifests").iterdir()
    assert kept.name == "editorial 2026-11-25_010505Z" and len(list(kept.glob("0001_*.mhl"))) == 1
    assert verified(root).returncode == 0
    (root / "b.mov").unlink()  # no longer delivered
    path = write(root, made(root), 120)
    assert path is not None and path.name.startswith("0001_") and path.read_text().count("<hash>") == 1
    assert verified(root).returncode == 0


def test_a_history_that_was_changed_is_said(tmp_path: Path) -> None:
    root = tmp_path / "editorial"
    files = made(root, a_mov=b"one")
    path = write(root, files)
    assert path is not None
    path.write_text(path.read_text().replace("cart", "dart"))
    with pytest.raises(DeliveryError, match="was changed"):
        write(root, files)


CHAINS = {
    "a bomb": b"<!DOCTYPE a [<!ENTITY b 'c'>]><a>&b;</a>",
    "an encoding that is none": b'<?xml version="1.0" encoding="UTF-99"?><a/>',
    "another encoding than it says": b'<?xml version="1.0" encoding="UTF-16"?><a/>',
    "nothing": b"",
    "no XML": b"\0\xff" * 50,
    "another document": b"<a/>",
    "deep": b"<a>" * 100_000,
    "large": b"<a>" + b" " * 64_000_001 + b"</a>",
    "many": b"<a>" + b"<b/>" * 5_000_000 + b"</a>",
}


@pytest.mark.parametrize("what", CHAINS)
def test_a_chain_that_does_not_read_is_one_sentence_with_its_file(what: str, tmp_path: Path) -> None:
    root = tmp_path / "editorial"
    files = made(root, a_mov=b"one")
    write(root, files)
    chain = root / "ascmhl" / "ascmhl_chain.xml"
    chain.write_bytes(CHAINS[what])
    with pytest.raises(DeliveryError) as told:
        write(root, files)
    assert told.value.file == str(chain) and len(str(told.value)) < 400


def test_a_chain_torn_or_changed_anywhere_is_one_sentence_or_whole(tmp_path: Path) -> None:
    root = tmp_path / "editorial"
    files = made(root, a_mov=b"one")
    write(root, files)
    chain = root / "ascmhl" / "ascmhl_chain.xml"
    whole = chain.read_bytes()
    dice = random.Random(3)
    texts = [whole[: dice.randrange(len(whole) - 30)] for _ in range(48)]
    texts += [
        whole.replace(b'sequencenr="1"', b'sequencenr="%s"' % n) for n in (b"", b"-1", b"x", b"9" * 5000)
    ]
    texts += [
        whole.replace(b".mhl", b"/../x.mhl"),
        whole.replace(b"<c4>c4", b"<c4>c5"),
        whole.replace(b"c4", b"c9"),
    ]
    for text in texts:
        chain.write_bytes(text)
        with pytest.raises(DeliveryError) as told:
            write(root, files)
        assert told.value.file and "ascmhl" in told.value.file and len(str(told.value)) < 400, text


def test_the_same_manifest_for_the_same_moment(tmp_path: Path) -> None:
    texts = []
    for name in ("x", "y"):
        root = tmp_path / name / "editorial"
        files = made(root, a_mov=b"one", A__b_mov=b"two")
        for path in root.rglob("*.mov"):
            os.utime(path, ns=(0, 10**18))
        path = write(root, made(root))
        assert path is not None and files
        texts.append(path.read_text())
    assert texts[0] == texts[1]
    assert "2001-09-09T01:46:40+00:00" in texts[0]


def test_nothing_to_say_of_no_files(tmp_path: Path) -> None:
    assert write(tmp_path, []) is None
    assert not list(tmp_path.iterdir())


def test_files_of_records() -> None:
    digest = f"{'0' * 28}00ff"
    entry = movie(path="editorial/A002/a.mov", bytes=5, mtime_ns=7, hash=f"xxh3_128:{digest}")
    made = recorded("a", entry, movie(output="viewing", path="viewing/a.mp4"))
    records = [read_record(made), failure_record("b", "b.mov", "failed", "does not open")]
    assert [f.path for f in delivered_files(records)] == ["editorial/A002/a.mov", "viewing/a.mp4"]
    (file,) = delivered_files(records, "editorial")
    assert file == ManifestFile(path="A002/a.mov", size=5, mtime_ns=7, xxh128=digest)


@given(st.binary(max_size=100))
def test_c4_is_a_number_in_base_58(data: bytes) -> None:
    import hashlib

    found = c4(data)
    assert len(found) == 90 and found.startswith("c4")
    alphabet = "123456789ABCDEFGHJKLMNPQRSTUVWXYZabcdefghijkmnopqrstuvwxyz"
    number = 0
    for letter in found[2:]:
        number = number * 58 + alphabet.index(letter)
    assert number == int.from_bytes(hashlib.sha512(data).digest(), "big")
