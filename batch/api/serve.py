"""`rushlight serve`: the live page of an output folder for browsers, read-only, until it is cancelled."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.api.cancel import Cancel
from rushlight.batch.api.requests import output_folders
from rushlight.batch.day.shooting_day import is_day
from rushlight.batch.serve.night_hub import NightHub
from rushlight.batch.serve.night_server import NightServer
from rushlight.batch.serve.nights import Nights
from rushlight.batch.serve.serve_address import (
    EVERYWHERE,
    LOOPBACK,
    ServeAddress,
    certificate,
    new_token,
    own_names,
    qr_code,
    reached_at,
)
from rushlight.pipelines.errors import OptionError

__all__ = ["Serving", "qr_code", "serve"]

Place = str | Path


@dataclass(frozen=True, kw_only=True)
class Serving:
    """What is served, and where. `folder`: of a day with several recipes, the one that their folders lie in; those are `folders`."""

    folder: Path
    folders: tuple[Path, ...]
    address: ServeAddress

    def document(self) -> dict[str, object]:
        """The document that the command prints with `--json`."""
        where = self.address
        several = {"folders": list(map(str, self.folders))} if len(self.folders) > 1 else {}
        return {
            "folder": str(self.folder),
            **several,
            "url": where.url,
            "host": where.host,
            "port": where.port,
            "lan": where.lan,
            "encrypted": where.encrypted,
        }


def serve(
    dir: Place,
    *,
    port: int = 0,
    lan: bool = False,
    name: str | tuple[str, ...] = (),
    tls_cert: Place | None = None,
    tls_key: Place | None = None,
    on_ready: Callable[[Serving], object] = lambda serving: None,
    cancel: Cancel | None = None,
) -> None:
    """Serve the live page, the report, the stills and the movies of an output folder to who has the token in the address; of a day
    those of all its recipes, with a page that lists them. Blocks until it is cancelled; `on_ready` is told the address.

    On this machine alone, or with `lan` on all its networks; `name` are names that it is reached by (`NAME` or `NAME:PORT`). Port 0 is a
    free one. OptionError naming the option that is wrong.
    """
    folders, cancel = tuple(dict.fromkeys(output_folders(dir))), cancel or Cancel()
    if not is_day(Path(dir)) and not folders[0].is_dir():
        raise OptionError(
            "there is no such folder; serve takes the output folder of a night, or a day",
            file=str(folders[0]),
        )
    names = (name,) if isinstance(name, str) else tuple(name)
    tls = certificate(Path(tls_cert) if tls_cert else None, Path(tls_key) if tls_key else None)
    server = NightServer(
        Nights([NightHub(folder) for folder in folders]),
        (EVERYWHERE if lan else LOOPBACK, port),
        new_token(),
        own_names(lan=lan, names=names),
        tls,
    )
    server.run()
    try:
        address = ServeAddress(
            host=reached_at(lan=lan, names=names),
            port=server.port,
            token=server.token,
            encrypted=tls is not None,
            lan=lan,
        )
        whole = folders[0] if len(folders) == 1 else folders[0].parent
        on_ready(
            Serving(
                folder=whole.resolve(), folders=tuple(folder.resolve() for folder in folders), address=address
            )
        )
        while not cancel.stop.level:
            time.sleep(0.2)
    finally:
        server.close()
