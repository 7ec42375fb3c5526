"""Serving from a script: told where, until it is cancelled."""

import http.client
import threading
from pathlib import Path

import pytest

import rushlight
from viewer import night_in


def test_it_tells_where_and_ends_when_it_is_cancelled(tmp_path: Path) -> None:
    night_in(tmp_path)
    cancel, seen, ready = rushlight.Cancel(), list[rushlight.Serving](), threading.Event()

    def told(serving: rushlight.Serving) -> None:
        seen.append(serving)
        ready.set()

    call = threading.Thread(target=lambda: rushlight.serve(tmp_path, on_ready=told, cancel=cancel))
    call.start()
    assert ready.wait(30)
    where = seen[0].address
    assert (where.host, where.lan, where.encrypted) == ("127.0.0.1", False, False)
    assert seen[0].document() == {
        "folder": str(tmp_path), "url": where.url, "host": "127.0.0.1", "port": where.port, "lan": False, "encrypted": False,
    }  # fmt: skip
    connection = http.client.HTTPConnection(where.host, where.port, timeout=20)
    connection.request("GET", f"/{where.token}/report/now.json")
    assert b"The Lamp Room" in connection.getresponse().read()
    connection.close()
    cancel.cancel()
    call.join(30)
    assert not call.is_alive()


def test_what_the_caller_raises_ends_it(tmp_path: Path) -> None:
    def fails(serving: rushlight.Serving) -> None:
        raise RuntimeError("the caller's own")

    before = threading.active_count()
    with pytest.raises(RuntimeError, match="the caller's own"):
        rushlight.serve(tmp_path, on_ready=fails)
    assert threading.active_count() <= before + 3  # they end within a second


def test_what_cannot_be_served_is_one_error(tmp_path: Path) -> None:
    with pytest.raises(rushlight.InputError, match="there is no such folder"):
        rushlight.serve(tmp_path / "none")
    with pytest.raises(rushlight.InputError, match="--port 99999: is no port"):
        rushlight.serve(tmp_path, port=99999)


def test_a_day_is_served_with_all_its_recipes_also_before_its_run(tmp_path: Path) -> None:
    day, cancel, seen = tmp_path / "day.toml", rushlight.Cancel(), list[rushlight.Serving]()
    day.write_text('media = ["m"]\nout = "out"\nrecipes = ["overnight", "other.toml"]\n')

    def told(serving: rushlight.Serving) -> None:
        seen.append(serving)
        cancel.cancel()

    rushlight.serve(day, on_ready=told, cancel=cancel)
    out = tmp_path / "out"
    assert seen[0].document()["folders"] == [str(out / "overnight"), str(out / "other")]
    assert seen[0].folder == out and not out.exists()  # nothing is made
