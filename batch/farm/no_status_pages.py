"""For Dask's scheduler and workers to load ahead (`--preload`): their HTTP servers are stopped as they start.

Those answer anybody, without a certificate, also where all else is TLS: who works where, on what, with what memory.
"""

from typing import Any

__all__ = ["dask_setup"]


def dask_setup(server: Any) -> None:
    """Called by Dask with its scheduler or worker."""
    server.http_server.stop()
