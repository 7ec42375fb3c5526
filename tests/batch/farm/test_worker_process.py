"""What a worker answers: a value, an error of ours, or that another machine has to do it."""

import pickle
from pathlib import Path

from rushlight.batch.farm.path_map import Mount, Unfit, recognisable
from rushlight.batch.farm.worker_process import call, call_elsewhere
from rushlight.pipelines.errors import CardError, DeliveryError, OwnFault, ResourceError, SourceError
from rushlight.pipelines.heartbeat import beat, beats


def test_a_call_answers_with_a_value_or_an_error_of_ours(tmp_path: Path) -> None:
    payload = {"out": str(tmp_path), "job": "a"}
    kind, value = call("toywork:segment", (payload, 0, "t"))
    assert kind == "value" and value["frames"] == 1
    for does, error in (("source", SourceError), ("odd", OwnFault)):
        kind, value = call("toywork:segment", ({**payload, "does": does}, 0, "t"))
        assert kind == "error" and type(value) is error
        assert str(pickle.loads(pickle.dumps(value))) == str(value)
    kind, value = call("builtins:open", (str(tmp_path / "no" / "such"), "w"))
    assert kind == "error" and type(value) is DeliveryError and str(tmp_path / "no" / "such") in str(value)
    assert call("no_such_module:name", ())[0] == "error"


def test_a_full_disk_is_a_shortage_wherever_it_shows() -> None:
    kind, value = call(f"{__name__}:fill", ())
    assert kind == "error" and type(value) is ResourceError and "no space left" in str(value)


def fill() -> None:
    with open("/dev/full", "w") as stream:
        stream.write("x")


def test_elsewhere_paths_are_that_machines_and_come_back_as_ours(tmp_path: Path) -> None:
    there = tmp_path / "there"
    recognisable(there)
    mounts = [Mount(here="/Volumes/OUT", there=str(there))]
    payload = {"out": "/Volumes/OUT", "job": "a", "source": None}
    kind, value = call_elsewhere("toywork:segment", (payload, 0, "t"), mounts)
    assert kind == "value" and value["files"] == [{"path": "/Volumes/OUT/.work/a/0.part", "bytes": 4}]
    assert (there / ".work" / "a" / "0.part").is_file()
    kind, value = call_elsewhere("toywork:segment", ({**payload, "out": "/Volumes/NO"}, 0, "t"), mounts)
    assert kind == "unfit" and isinstance(value, Unfit)
    away = {**payload, "source": {"path": "/Volumes/DAY/A001.mov"}}
    kind, value = call_elsewhere("toywork:segment", (away, 0, "t"), mounts)
    assert kind == "unfit" and value.file == "/Volumes/DAY/A001.mov"


def test_the_pulse_only_grows() -> None:
    before = beats()
    beat()
    assert beats() == before + 1


def test_a_machine_without_the_card_that_it_must_have_leaves_the_work_to_another(tmp_path: Path) -> None:
    recognisable(tmp_path)
    payload = {"out": str(tmp_path), "job": "a", "source": None}
    kind, value = call_elsewhere(f"{__name__}:without_card", (payload, 0), [])
    assert kind == "unfit" and isinstance(value, Unfit) and value.text == "does not grade on a graphics card"


def without_card(payload: object, index: int) -> None:
    raise CardError("does not grade on a graphics card")
