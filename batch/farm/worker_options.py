"""Options that say who does the work: processes of this machine, or the machines of a Dask scheduler."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.batch.farm.child_processes import fork_ahead
from rushlight.batch.farm.path_map import Mount, parse_mount
from rushlight.batch.plan.request import default_workers
from rushlight.pipelines.errors import OptionError

if TYPE_CHECKING:
    from distributed.security import Security

    from rushlight.batch.farm.dask_farm import DaskFarm

__all__ = ["GRAPHICS", "Crew", "crew_of"]

CARD_AHEAD = "rushlight.batch.farm.card_ahead"
GRAPHICS = ("auto", "off", "require")


@dataclass(frozen=True, kw_only=True)
class Crew:
    """As given: a number of workers here, or a scheduler elsewhere with how it is reached and what it sees."""

    workers: int | None = None
    scheduler: str = ""
    tls_ca_file: Path | None = None
    tls_cert: Path | None = None
    tls_key: Path | None = None
    mounts: tuple[Mount, ...] = ()
    patience: float = 600.0  # seconds
    graphics: str = "auto"  # grade on a card where one can be used; off: never; require: nothing else

    def count(self, tasks: int) -> int:
        """Worker processes to start here for so many tasks; 0 is not known yet."""
        wanted = self.workers or default_workers()
        return min(wanted, tasks) if tasks else wanted

    def farm(
        self,
        count: int,
        *,
        tell: Callable[[str], None],
        gone: Callable[[str], None],
        ahead: Sequence[str] = (),
    ) -> DaskFarm:
        """The farm, once it is there; `ahead` are modules that workers here load as they start. QueueError where it does not answer or a worker of it does not fit."""
        if not self.scheduler:
            cards = () if self.graphics == "off" else (CARD_AHEAD,)
            fork_ahead([*ahead, *cards])  # they load while this process does
        from rushlight.batch.farm.dask_farm import DaskFarm

        return DaskFarm(
            workers=count,
            address=self.scheduler,
            security=self.security(),
            mounts=self.mounts,
            patience=self.patience,
            tell=tell,
            gone=gone,
            ahead=ahead,
            cores=self.count(0),
        )

    def security(self) -> Security | None:
        """Dask's settings for TLS: the files given, else those of Dask's own configuration. None without TLS."""
        if not self.scheduler.startswith("tls://"):
            return None
        from distributed.security import Security

        given = {
            "tls_ca_file": self.tls_ca_file,
            "tls_client_cert": self.tls_cert,
            "tls_client_key": self.tls_key,
        }
        named = {name: str(path) for name, path in given.items() if path}
        security = Security(require_encryption=True, **named)
        if not (security.tls_ca_file and security.tls_client_cert):
            raise OptionError(
                "tls:// needs the farm's certificate: --tls-ca-file, --tls-cert and --tls-key, or Dask's own settings"
            )
        return security


def crew_of(
    *,
    workers: int | None,
    scheduler: str,
    tls_ca_file: Path | None,
    tls_cert: Path | None,
    tls_key: Path | None,
    mounts: Sequence[str],
    stalled_after: float,
    graphics: str = "auto",
) -> Crew:
    """The workers that these options ask for. OptionError naming the one that is wrong."""
    files = {"--tls-ca-file": tls_ca_file, "--tls-cert": tls_cert, "--tls-key": tls_key}
    for name, path in files.items():
        if path and not path.is_file():
            raise OptionError(f"{name}: there is no such file", file=str(path))
    if graphics not in GRAPHICS:
        raise OptionError(f"--graphics {graphics}: takes {', '.join(GRAPHICS[:-1])} or {GRAPHICS[-1]}")
    if scheduler and workers:
        raise OptionError(
            f"--workers {workers} with --scheduler {scheduler}: a farm has the workers that were"
            " started for it; leave out one of the two"
        )
    if not scheduler and (idle := [name for name, given in {**files, "--map": mounts}.items() if given]):
        raise OptionError(f"{', '.join(idle)} without --scheduler: on one machine there is nothing to reach")
    return Crew(
        workers=workers,
        scheduler=scheduler,
        tls_ca_file=tls_ca_file,
        tls_cert=tls_cert,
        tls_key=tls_key,
        mounts=tuple(parse_mount(text) for text in mounts),
        patience=60 * stalled_after,
        graphics=graphics,
    )
