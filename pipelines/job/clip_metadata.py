"""Clip metadata that travels in the delivered files: scene, take, camera, lens, look and the like, under plain names.

Keys of MOV and MP4 are the names themselves, as the FFmpeg command shows them, but for those that the QuickTime file format
publishes a key for; an MXF states them as comments of its material package. No picture, sound or identity depends on any:
a file says what was known in the night in which it was made.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from rushlight.pipelines.job.from_spec import build_look
from rushlight.pipelines.job.spec import JobSpec, MovieSpec, StillsSpec
from rushlight.pipelines.outputs.mxf_packages import mxf_metadata
from rushlight.pipelines.visible_text import visible

__all__ = ["CLIP_METADATA", "MOVIE_KEYS", "movie_metadata", "output_metadata", "stated"]

LONGEST = 4000  # characters: FFmpeg leaves an MXF comment out that a local set of 64 KiB cannot hold

CLIP_METADATA: Mapping[str, str] = MappingProxyType(
    {
        "scene": "as the list, a table, a name or the sound has it",
        "take": "likewise",
        "camera": "the camera's letter: the list's, else the reel's",
        "circled": "as the list has it",
        "note": "likewise",
        "production": "the day's title, or what the row says of it",
        "day": "likewise",
        "unit": "likewise",
        "sound_roll": "roll of the production sound that lies under it",
        "camera_make": "maker of the camera, by the list, else by the original's header; so are those that follow",
        "camera_model": "its model",
        "camera_serial": "its serial number",
        "lens": "the lens",
        "lens_serial": "its serial number",
        "focal_length": "such as `35 mm`",
        "aperture": "such as `f/2.8`",
        "t_stop": "such as `T2.8`",
        "iso": "exposure index that the camera was set to",
        "white_balance": "such as `5600K`: what the camera was set to (`wb` in the list)",
        "tint": "above 0 greener, in the maker's unit",
        "shutter": "shutter angle, such as `172.8°`, or the time of exposure",
        "state": "`log`, `show` (show transform alone) or `graded`: what of the look is in the pictures",
        "look": "the look in one line",
        "look_digest": "SHA-256 over the look's numbers: alike for the same look",
    }
)
MOVIE_KEYS: Mapping[str, str] = MappingProxyType(
    {"camera_make": "com.apple.quicktime.make", "camera_model": "com.apple.quicktime.model"}
)


def stated(values: Mapping[str, str]) -> dict[str, str]:
    """The values by name in the order of `CLIP_METADATA`, hidden characters written out, long ones cut; an empty one is not
    stated."""
    clean = {
        name: visible(values.get(name, "").strip(), lines=True)[:LONGEST].strip() for name in CLIP_METADATA
    }
    return {name: text for name, text in clean.items() if text}


def output_metadata(job: JobSpec, output: MovieSpec | StillsSpec) -> dict[str, str]:
    """Metadata of an output's files by name: the clip's, and which look its pictures have."""
    look = build_look(job.look_of(output), Path(job.out))
    shown = {"state": output.state, "look": look.describe(), "look_digest": look.digest()}
    return stated({**job.metadata, **shown})


def movie_metadata(job: JobSpec, output: MovieSpec) -> dict[str, str]:
    """The same by the keys of the movie's container, with the clip's name where that is MXF, and the reel where it is MP4."""
    found = output_metadata(job, output)
    if output.container == "mxf":
        return mxf_metadata(job.stem, found)
    reel = {"reel": job.reel} if output.container == "mp4" and job.reel else {}
    return {MOVIE_KEYS.get(name, name): text for name, text in found.items()} | reel
