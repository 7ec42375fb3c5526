"""Every list of a folder into one queue, then the queue on a farm until the morning. To be started at wrap, by a timer or a person.

    python nightly_farm.py lists cards /mnt/dailies [tls://scheduler:8786]

Lists that are queued already and have not changed add nothing; the same call goes on where it was stopped.
"""

import sys
from pathlib import Path

import rushlight

UNTIL = "05:30"  # nothing is started after that
CERTIFICATES = {"tls_ca_file": "farm/ca.pem", "tls_cert": "farm/cart.pem", "tls_key": "farm/cart.key"}


def main(lists: str, media: str, out: str, scheduler: str = "") -> int:
    queue = Path(out) / "queue.db"
    for clip_list in sorted(Path(lists).glob("*.csv")):
        folder = Path(out) / clip_list.stem
        # A list that cannot be read as a whole costs itself, not the night.
        try:
            rushlight.queue.add(clip_list, media=media, out=folder, queue=queue)
        except rushlight.InputError as error:
            print(f"left out: {error}")
    farm = {"scheduler": scheduler, **CERTIFICATES} if scheduler else {}
    night = rushlight.queue.run(queue=queue, until=UNTIL, **farm)
    for job in rushlight.queue.list(queue=queue).jobs:
        if job.state != "done":
            print(f"{job.state}: {job.clip}: {job.error}")
    print(f"{len(night.delivered)} delivered in {night.seconds / 60:.0f} minutes")
    return night.code


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
