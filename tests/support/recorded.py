"""Job records of nothing in particular, whole as the log wants them: what a test is about is given."""

from __future__ import annotations

from typing import Any

TAGS = {"primaries": 1, "transfer": 1, "matrix": 1, "levels": "narrow"}


def movie(**given: Any) -> dict[str, Any]:
    """The entry of a delivered movie."""
    entry = {
        "output": "editorial",
        "kind": "movie",
        "path": "editorial/A001C001.mov",
        "state": "graded",
        "identity": "0" * 32,
        "frames": 48,
        "card": 0,
        "first_timecode": "01:00:00:00",
        "bytes": 1000,
        "mtime_ns": 1,
        "hash": "xxh3_128:" + "0" * 32,
        "codec": "dnxhr-lb",
        "container": "mov",
        "pixel_format": "yuv422p",
        "width": 1920,
        "height": 1080,
        "rate": "24",
        "tags": TAGS,
        "picture_tags": TAGS,
        "reel": "A001",
        "sound": [],
        "picture": [0, 0, 1920, 1080],
        "covered": [],
        "display": "Rec.709 BT.1886",
    }
    return entry | given


def still(**given: Any) -> dict[str, Any]:
    """The entry of a delivered still."""
    shared = movie(output="stills", kind="still", path="stills/A001C001.tif", frames=1)
    for name in (
        "card",
        "codec",
        "container",
        "pixel_format",
        "rate",
        "tags",
        "picture_tags",
        "reel",
        "sound",
    ):
        del shared[name]
    return shared | {"still_kind": "tiff16", "frame": 24, "digest": "d", "tiles": None} | given


def recorded(job: str, *outputs: dict[str, Any], **given: Any) -> dict[str, Any]:
    """The record of a delivered clip."""
    record = {
        "schema": "rushlight-job-1",
        "job": job,
        "clip": job,
        "status": "done",
        "reel": "A001",
        "rate": "24",
        "frames": 48,
        "first_frame": 0,
        "first_timecode": "01:00:00:00",
        "last_timecode": "01:00:01:23",
        "source": {"path": f"/media/{job}"},
        "look": {"digest": "sha256:0", "description": "none", "grade": None, "layers": []},
        "recipe": {"name": "toy", "digest": "sha256:0"},
        "row": {},
        "outputs": list(outputs),
        "colour": {"digest": "", "pictures": [], "patches": {}, "tiles": {}, "sensitivity": {}, "faults": []},
        "warnings": [],
    }
    return record | given
