"""Where one runner, one queue file and one network end: a simulation from measured costs, for 10, 100 and 1,000 workers.

    python beyond_one_building.py [--workers 10 100 1000] [--json]

Nothing of rushlight is imported and nothing is rendered. Segments of two seconds are handed out one at a time by a runner that takes
so many seconds of processor for each; workers make them in so many seconds, or as fast as their originals and outputs come through
the network. What comes out is how much of the time workers work, and what holds them up.
"""

from __future__ import annotations

import argparse
import heapq
import json
import sys
from dataclasses import asdict, dataclass

FRAMES = 48  # of a segment: two seconds at 24 frames a second

# Measured: docs/performance.md (machine A), and docs/decisions/0024-one-runner.md.
RUNNER = 0.009  # seconds of the runner's processor for a task, with 10,000 jobs in the queue
SEGMENT = {
    "HD": 0.051 * FRAMES,
    "3840x2160": 0.143 * FRAMES,
}  # seconds of a worker: a frame of HD 51 ms, of 3840x2160 to two movies 143

# Megabits a second of originals at 24 frames a second, from the codecs' published data rates (rounded), and of what is made of them.
CODECS = {
    "H.264, HD": ("HD", 50),
    "ProRes 422 HQ, HD": ("HD", 176),
    "ProRes 422 HQ, 3840x2160": ("3840x2160", 707),
    "ProRes 4444 XQ, 3840x2160": ("3840x2160", 1591),
    "DPX 10 bit, 3840x2160": ("3840x2160", 6370),
}
MADE = 40  # megabits a second of what is made: DNxHR LB at HD, and H.264 at 1280x720


@dataclass(frozen=True, kw_only=True)
class Night:
    """Workers for an hour: what of their time they work, and what holds them up."""

    codec: str
    workers: int
    place: str
    working: float  # share of the workers' time
    realtime: float  # hours of material in an hour
    each: float  # megabytes a second that a worker reads while it works
    network: float  # gigabits a second through the busiest wire
    held_by: str


def simulated(codec: str, workers: int, *, place: str, wire: float, wait: float, seconds: float) -> Night:
    """Segments in turn from one runner to whoever is free. `wire` is gigabits a second that all share, `wait` the seconds that a
    message takes there and back: a worker has one segment more in hand, so that it waits only for what is longer than its work."""
    raster, rate = CODECS[codec]
    work = SEGMENT[raster]
    read = (rate + MADE) * FRAMES / 24 / 1000  # gigabits of a segment
    share = wire / workers
    through = read / share if share else 0.0
    one = max(work, through, wait)
    free, runner, done, busy = [0.0] * workers, 0.0, 0, 0.0
    heapq.heapify(free)
    while True:
        at = heapq.heappop(free)
        runner = max(runner, at) + RUNNER
        if runner >= seconds:
            break
        end = max(at, runner) + one
        heapq.heappush(free, end)
        if end <= seconds:
            done, busy = done + 1, busy + work
    working = min(1.0, busy / (workers * seconds))
    limits = {
        "the work itself": work / workers,
        "the network": one / workers if through > work else 0.0,
        "the runner": RUNNER,
    }
    return Night(
        codec=codec,
        workers=workers,
        place=place,
        working=round(working, 2),
        realtime=round(done * FRAMES / 24 / seconds, 1),
        each=round(rate / 8 * FRAMES / 24 / work, 1),
        network=round(done * read / seconds, 2),
        held_by=max(limits, key=lambda name: limits[name]),
    )


PLACES = {
    "near": (10.0, 0.001),
    "near, 100 Gbit/s": (100.0, 0.001),
    "far": (1.0, 0.1),
}  # Gbit/s, seconds there and back


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--workers", type=int, nargs="+", default=[10, 100, 1000])
    options.add_argument("--seconds", type=float, default=3600.0, help="of the simulated night")
    options.add_argument("--json", action="store_true")
    given = options.parse_args()
    nights = [
        simulated(codec, workers, place=place, wire=wire, wait=wait, seconds=given.seconds)
        for codec in CODECS
        for place, (wire, wait) in PLACES.items()
        for workers in given.workers
    ]
    if given.json:
        print(json.dumps([asdict(night) for night in nights], indent=2))
        return 0
    print(
        f"{'original':26}{'workers':>8} {'originals':18}{'working':>8}{'x real':>9}{'MB/s each':>10}{'Gbit/s':>8}  held up by"
    )
    for night in nights:
        print(
            f"{night.codec:26}{night.workers:8} {night.place:18}{night.working:8.0%}{night.realtime:9.1f}"
            f"{night.each:10.1f}{night.network:8.2f}  {night.held_by}"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
