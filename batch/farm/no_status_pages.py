"""For Dask's scheduler and workers to load ahead (`--preload`): their HTTP servers are stopped as they start.

Those answer anybody, without a certificate, also where all else is TLS: who works where, on what, with what memory.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from distributed.core import Server

__all__ = ["dask_setup"]


def dask_setup(server: Server) -> None:
    """Called by Dask with its scheduler or worker."""
    server.http_server.stop()
