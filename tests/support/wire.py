"""Hosts of their own on one wire that loses and delays: network namespaces, each with a TUN device whose packets this process carries.

For kernels without netem: every packet is real, and so are the retransmissions of the hosts' own TCP. Root only.
"""

from __future__ import annotations

import fcntl
import heapq
import os
import random
import selectors
import struct
import subprocess
import threading
import time
from dataclasses import dataclass, field

TUNSETIFF, IFF_TUN, IFF_NO_PI = 0x400454CA, 0x0001, 0x1000  # linux/if_tun.h
MTU = 9000  # fewer packets for Python to carry


@dataclass
class Carried:
    """What the wire had to carry, in both directions."""

    packets: int = 0
    lost: int = 0
    bytes: int = 0


@dataclass
class Wire:
    """A wire between hosts 10.214.0.1 (this one), .2, .3 and so on. `loss` is a share of packets, `delay` seconds one way."""

    loss: float = 0.0
    delay: float = 0.0
    carried: Carried = field(default_factory=Carried)
    hosts: list[str] = field(default_factory=list)
    pulled: set[int] = field(default_factory=set)  # hosts whose cable is out, by number

    def __post_init__(self) -> None:
        self._mark, self._random = f"rl{os.getpid() % 100000}", random.Random(24)
        self._ends: dict[int, int] = {}  # last byte of the address -> descriptor
        self._waiting: list[tuple[float, int, int, bytes]] = []
        self._selector, self._over = selectors.DefaultSelector(), threading.Event()
        self._plug(1, "")
        self._thread = threading.Thread(target=self._carry, name="wire", daemon=True)
        self._thread.start()

    def host(self) -> tuple[str, str, str]:
        """A new host: the namespace's name, the address of host 1, its own. OSError where that may not be done."""
        number = len(self.hosts) + 2
        name = f"{self._mark}h{number}"
        self.hosts.append(name)
        _ip(f"netns add {name}")
        self._plug(number, name)
        return name, "10.214.0.1", f"10.214.0.{number}"

    def retransmitted(self) -> int:
        """TCP segments that the hosts have sent again so far (RFC 4022, tcpRetransSegs)."""
        total = 0
        for name in self.hosts:
            told = subprocess.run(
                ["ip", "netns", "exec", name, "cat", "/proc/net/snmp"], capture_output=True, text=True
            )
            names, values = (line.split() for line in told.stdout.splitlines() if line.startswith("Tcp:"))
            total += int(values[names.index("RetransSegs")])
        return total

    def close(self) -> None:
        self._over.set()
        self._thread.join()
        for end in self._ends.values():
            os.close(end)
        for name in self.hosts:
            subprocess.run(["ip", "netns", "delete", name], capture_output=True)

    def _plug(self, number: int, namespace: str) -> None:
        end, device = os.open("/dev/net/tun", os.O_RDWR | os.O_NONBLOCK), f"{self._mark}t{number}"
        fcntl.ioctl(end, TUNSETIFF, struct.pack("16sH22x", device.encode(), IFF_TUN | IFF_NO_PI))
        inside = f"-n {namespace} " if namespace else ""
        if namespace:
            _ip(f"link set {device} netns {namespace}")
            _ip(f"{inside}link set lo up")
        _ip(f"{inside}addr add 10.214.0.{number}/24 dev {device}")
        _ip(f"{inside}link set {device} mtu {MTU} up")
        self._ends[number] = end
        self._selector.register(end, selectors.EVENT_READ, number)

    def _carry(self) -> None:
        count = 0
        while not self._over.is_set():
            now = time.monotonic()
            while self._waiting and self._waiting[0][0] <= now:
                _, _, to, packet = heapq.heappop(self._waiting)
                self._deliver(to, packet)
            until = min(0.1, self._waiting[0][0] - now) if self._waiting else 0.1
            for key, _ in self._selector.select(until):
                try:
                    packet = os.read(key.fd, 65536)
                except OSError:
                    continue
                if len(packet) < 20 or packet[0] >> 4 != 4:  # IPv4 alone
                    continue
                count += 1
                self.carried.packets += 1
                self.carried.bytes += len(packet)
                to = packet[19]
                if {key.data, to} & self.pulled or self._random.random() < self.loss:
                    self.carried.lost += 1
                elif self.delay:
                    heapq.heappush(self._waiting, (time.monotonic() + self.delay, count, to, packet))
                else:
                    self._deliver(to, packet)

    def _deliver(self, to: int, packet: bytes) -> None:
        if to in self._ends:
            try:
                os.write(self._ends[to], packet)
            except OSError:
                self.carried.lost += 1


def _ip(line: str) -> None:
    done = subprocess.run(["ip", *line.split()], capture_output=True, text=True)
    if done.returncode:
        raise OSError(f"ip {line}: {done.stderr.strip()}")
