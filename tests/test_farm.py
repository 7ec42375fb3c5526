"""The local cluster: loopback only, and quiet beside another."""

import os

import psutil
from rushlight.batch.farm import DaskFarm


def test_two_at_once_are_quiet_and_listen_on_loopback_only() -> None:
    first = DaskFarm(workers=1)
    try:
        second = DaskFarm(workers=1)  # a warning of a taken port would be an error here
        try:
            people = [psutil.Process(os.getpid()), *psutil.Process(os.getpid()).children(recursive=True)]
            places = {
                c.laddr.ip
                for p in people
                for c in p.net_connections("inet")
                if c.status == psutil.CONN_LISTEN
            }
            assert places == {"127.0.0.1"}
            assert set(first.processes().values()).isdisjoint(second.processes().values())
        finally:
            second.close(now=True)
    finally:
        first.close(now=True)
