"""Who works, as the options say."""

from pathlib import Path

import pytest

from rushlight.batch.farm.path_map import Mount
from rushlight.batch.farm.worker_options import Crew, crew_of
from rushlight.batch.plan.request import default_workers
from rushlight.pipelines.errors import OptionError

GIVEN = {
    "workers": None,
    "scheduler": "",
    "tls_ca_file": None,
    "tls_cert": None,
    "tls_key": None,
    "mounts": (),
    "stalled_after": 0.5,
}
FARM = {**GIVEN, "scheduler": "tcp://127.0.0.1:8786"}


def test_options() -> None:
    assert crew_of(**{**GIVEN, "workers": 3}) == Crew(workers=3, patience=30)
    mapped = crew_of(**{**FARM, "mounts": ("/a=/b",)})
    assert (mapped.scheduler, mapped.mounts) == (FARM["scheduler"], (Mount(here="/a", there="/b"),))
    with pytest.raises(OptionError, match=r"/no.pem: --tls-cert: there is no such file|--tls-cert"):
        crew_of(**{**GIVEN, "tls_cert": Path("/no.pem")})
    with pytest.raises(OptionError, match="HERE=THERE"):
        crew_of(**{**FARM, "mounts": ("a",)})


def test_what_would_have_no_effect_is_refused() -> None:
    with pytest.raises(OptionError, match=r"--workers 4 with --scheduler tcp://127.0.0.1:8786"):
        crew_of(**{**FARM, "workers": 4})
    with pytest.raises(OptionError, match="--tls-key, --map without --scheduler"):
        crew_of(**{**GIVEN, "tls_key": Path(__file__), "mounts": ("/a=/b",)})


def test_whether_a_card_may_grade() -> None:
    assert (crew_of(**GIVEN).graphics, crew_of(**{**GIVEN, "graphics": "off"}).graphics) == ("auto", "off")
    with pytest.raises(OptionError, match="--graphics fast: takes auto, off or require"):
        crew_of(**{**GIVEN, "graphics": "fast"})


def test_no_more_workers_than_there_is_to_do() -> None:
    assert Crew(workers=8).count(3) == 3 and Crew(workers=2).count(30) == 2 and Crew(workers=8).count(0) == 8
    assert Crew().count(0) == default_workers() and Crew().count(1) == 1


def test_tls_settings_are_the_options_or_dasks_own(tmp_path: Path) -> None:
    import dask

    assert Crew(scheduler="tcp://127.0.0.1:8786").security() is None
    stated = Crew(scheduler="tls://farm:1", tls_ca_file=Path("a"), tls_cert=Path("b"), tls_key=Path("c"))
    security = stated.security()
    assert security.require_encryption
    assert (security.tls_ca_file, security.tls_client_cert, security.tls_client_key) == ("a", "b", "c")
    own = {"distributed.comm.tls.ca-file": "x", "distributed.comm.tls.client.cert": "y"}
    with dask.config.set(own):
        assert Crew(scheduler="tls://farm:1").security().tls_client_cert == "y"
    with pytest.raises(OptionError, match="Dask's own settings"):
        Crew(scheduler="tls://farm:1").security()
