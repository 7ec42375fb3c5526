"""One reel of a delivery again, months later, from the folder's own record and the originals; then held against what was delivered then.

python one_reel_again.py out A001 /mnt/archive again
"""

import sys

import rushlight


def main(delivery: str, reel: str, originals: str, again: str) -> int:
    night = rushlight.render(from_=delivery, only=f"reel={reel}", media=originals, out=again)
    if night.code:
        for clip in (*night.failed, *night.set_aside):
            print(f"not made: {clip.clip}: {clip.error}")
        return night.code
    checked = rushlight.verify(again, against=delivery)
    for clip in checked.against or ():
        print(f"{clip.clip}: {clip.verdict}")
    return bool(checked.failed)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
