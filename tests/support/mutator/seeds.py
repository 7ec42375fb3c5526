"""The seeds: a day's texts, one original of each format, and an output folder with a queue; all made by our own code.

media/          two good originals, a day old, so that nobody waits for them
outside/        what nobody should touch, with a pipe, an endless file and a link to itself
work/day/       lists, grades, LUT, recipe, defaults, change records
work/shots/     one original of each format
work/takes/     sound of the two originals
work/night/     `out`: rendered, measured and reported; `queue.sqlite`: the same clips for another folder, queued
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

import numpy as np

import aces_samples
import independent
from framings import canvas, context, decision, fdl_text
from here import run
from manifests import HASH, c4_of, card, entry, folder_entry, generation, sealed
from pictures import numbered, texture, write_dpx, write_movie, write_picture
from recordings import bext, chunk, counting, ixml, write_wav
from rushlight.pipelines.luts.scene_conversion import clf_of_matrix

__all__ = ["copied", "make"]

RECIPE = """
name = "two"
description = "two movies and stills of each clip"
first = ["editorial"]
damaged_frames = "deliver"

[look]
transform = "aces2"
display = "Rec.709 BT.1886"

[changes]
held_at = "cut"
utc_offset = "+02:00"
ahead = { B = 0.5 }

[[default]]
camera = "A"
levels = "narrow"

[[output]]
name = "editorial"
make = "movie"
codec = "prores-proxy"
container = "mov"
size = "128x72"

[[output]]
name = "viewing"
make = "movie"
codec = "h264"
container = "mp4"
size = "128x72"
preset = "veryfast"
quality = 20
[output.frame]
mode = "pad"
area = { x = 0, y = 0, width = 128, height = 72, raster = "128x72" }
[output.burnin]
text = [{ at = "bottom", text = "{scene} {note} {timecode}", size = 0.1 }]

[[output]]
name = "stills"
make = "stills"
kinds = ["jpeg", "tiff16"]
at = ["middle"]
size = "128x72"
"""
LOG = '[[output]]\nname = "codes"\nmake = "movie"\ncodec = "prores-proxy"\nstate = "log"\nsize = "128x72"\n'
FRAMED = """fdl = "small.fdl"

[[output]]
name = "framed"
make = "movie"
codec = "prores-proxy"
frame = { framing = "Theatrical", crop = "protection" }
guides = { framing = ["Theatrical", "Streaming"], protection = true }
"""
FDL = fdl_text(
    context(
        "A Cam",
        canvas(
            "gate",
            (128, 72),
            decision("gate", "fi1", (16.5, 8, 96, 56.25), (8, 4, 112, 64)),
            decision("gate", "fi2", (32, 0, 64, 72)),
            effective=(4, 0, 120, 72),
        ),
    )
)
LIST = """clip,encoding,levels,slope,offset,power,saturation,cdl,lut,scene,take,day,note,circled,in,out,exposure
A001C001.mov,LogC3,narrow,1.06 1.0 0.97,0 0 0.004,1.02 1 1,1.08,,small.cube,12A,3,2026-05-04,lamplight,yes,,,0.5
A001C002.mov,S-Log3/S-Gamut3.Cine,full,,,,,grades/three.ccc#two,,12B,1,2026-05-04,"a ""quote"", here",,02:00:00:00,02:00:00:02,
"""
CLF = """<?xml version="1.0" encoding="UTF-8"?>
<ProcessList id="urn:uuid:1" name="small" compCLFversion="3">
<Description>every node</Description>
<Range inBitDepth="10i" outBitDepth="32f"><minInValue>0</minInValue><maxInValue>1023</maxInValue>
<minOutValue>0</minOutValue><maxOutValue>1</maxOutValue></Range>
<Matrix inBitDepth="32f" outBitDepth="32f"><Array dim="3 3">1 0 0 0 1 0 0 0 1</Array></Matrix>
<Log inBitDepth="32f" outBitDepth="32f" style="linToLog">
<LogParams base="2" logSideSlope="0.1" logSideOffset="0.5" linSideSlope="1" linSideOffset="0.01"/></Log>
<Exponent inBitDepth="32f" outBitDepth="32f" style="basicFwd"><ExponentParams exponent="1.1"/></Exponent>
<ASC_CDL inBitDepth="32f" outBitDepth="32f" style="Fwd"><SOPNode><Slope>1 1 1</Slope><Offset>0 0 0</Offset>
<Power>1 1 1</Power></SOPNode><SatNode><Saturation>0.9</Saturation></SatNode></ASC_CDL>
<LUT1D inBitDepth="32f" outBitDepth="32f"><Array dim="3 1">0 0.4 1</Array></LUT1D>
<LUT3D inBitDepth="32f" outBitDepth="32f" interpolation="tetrahedral"><Array dim="3 3 3 3">
{}
</Array></LUT3D>
</ProcessList>
"""
EDL = """TITLE: DAY 1
FCM: NON-DROP FRAME

001  A001     V     C        01:00:00:00 01:00:00:02 01:00:00:00 01:00:00:02
* FROM CLIP NAME: A001C001.mov
* ASC_SOP (1.06 1.0 0.97)(0.0 0.0 0.004)(1.02 1.0 1.0)
* ASC_SAT 1.08
002  A001     V     C        02:00:00:00 02:00:00:02 01:00:00:02 01:00:00:04
* FROM CLIP NAME: A001C002.mov
* SOURCE FILE: A001C002.mov
"""
OTIO = """{"OTIO_SCHEMA": "Timeline.1", "name": "day 1", "metadata": {}, "global_start_time": null, "tracks": {
 "OTIO_SCHEMA": "Stack.1", "name": "tracks", "metadata": {}, "source_range": null, "effects": [], "markers": [], "enabled": true,
 "children": [{"OTIO_SCHEMA": "Track.1", "name": "V1", "kind": "Video", "metadata": {}, "source_range": null, "effects": [],
  "markers": [], "enabled": true, "children": [
  {"OTIO_SCHEMA": "Clip.2", "name": "one", "enabled": true, "effects": [], "markers": [], "active_media_reference_key": "DEFAULT_MEDIA",
   "metadata": {"cdl": {"asc_sat": 1.08, "asc_sop": {"slope": [1.06, 1.0, 0.97], "offset": [0.0, 0.0, 0.004], "power": [1.02, 1.0, 1.0]}}},
   "source_range": {"OTIO_SCHEMA": "TimeRange.1", "start_time": {"OTIO_SCHEMA": "RationalTime.1", "rate": 24.0, "value": 86400.0},
    "duration": {"OTIO_SCHEMA": "RationalTime.1", "rate": 24.0, "value": 2.0}},
   "media_references": {"DEFAULT_MEDIA": {"OTIO_SCHEMA": "ExternalReference.1", "name": "", "metadata": {},
    "available_range": {"OTIO_SCHEMA": "TimeRange.1", "start_time": {"OTIO_SCHEMA": "RationalTime.1", "rate": 24.0, "value": 86400.0},
     "duration": {"OTIO_SCHEMA": "RationalTime.1", "rate": 24.0, "value": 2.0}}, "target_url": "file:///card/A001C001.mov"}}},
  {"OTIO_SCHEMA": "Gap.1", "name": "", "effects": [], "markers": [], "metadata": {}, "enabled": true, "source_range":
   {"OTIO_SCHEMA": "TimeRange.1", "start_time": {"OTIO_SCHEMA": "RationalTime.1", "rate": 24.0, "value": 0.0},
    "duration": {"OTIO_SCHEMA": "RationalTime.1", "rate": 24.0, "value": 1.0}}},
  {"OTIO_SCHEMA": "Clip.1", "name": "A001C002.mov", "metadata": {}, "source_range": null, "effects": [], "markers": [], "enabled": true,
   "media_reference": {"OTIO_SCHEMA": "MissingReference.1", "name": "", "metadata": {}, "available_range": null}}]}]}}
"""
CORRECTION = """<ColorCorrection id="{0}"{3}>
  <SOPNode><Description>warm</Description><Slope>{1} 1.0 0.96</Slope><Offset>0.004 0.0 -0.006</Offset><Power>1.0 1.0 1.0</Power></SOPNode>
  <SatNode><Saturation>{2}</Saturation></SatNode>
</ColorCorrection>
"""
SPACE = ' xmlns="urn:ASC:CDL:v1.2"'
HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
GRADES = """id,reel,date,timecode,scene,take,slope,offset,power,saturation
A001C001,A001,2026-05-04,01:00:00:00,12A,3,1.06 1.0 0.97,0 0 0.004,1.02 1 1,1.08
,A001,2026-05-04,02:00:00:00,12B,1,1 1 1,0 0 0,1 1 1,0.9
"""
CHANGES = """date,timecode,rate,camera,jammed,slope,offset,power,saturation
2026-05-04,00:59:00:00,24,,00:30:00,1.06 1.0 0.97,0 0 0.004,1.02 1 1,1.08
2026-05-04,01:59:59:00,24,A,,1 1 1,0 0 0,1 1 1,0.9
"""
CLOCKED = """date,clock,utc_offset,camera,saturation
2026-05-04,00:59:00,+02:00,A,1.08
2026-05-04,01:59:59.5,+02:00,,0.9
"""
CHANGES_EDL = """* RATE: 24
001  A001     V     C        00:59:00:00 00:59:00:01 01:00:00:00 01:00:00:01
* DATE: 2026-05-04
* CAMERA: A
* JAMMED: 00:30:00
* ASC_SOP (1.06 1.0 0.97)(0.0 0.0 0.004)(1.02 1.0 1.0)
* ASC_SAT 1.08
002  A001     V     C        01:59:59:00 01:59:59:01 01:00:00:02 01:00:00:03
* DATE: 2026-05-04
* ASC_SAT 0.9
"""
SHOOTING = """production = "The Lamp Room"
day = 12
unit = "main"
media = ["../../media"]
tables = ["scenes.csv"]
recipes = ["two.toml"]
ready_by = "05:30"

[[default]]
file = "*"
encoding = "LogC3"
levels = "narrow"
"""
SCENES = "clip,scene,take,circled,note,weather\nA001C001,12A,3,yes,lamp lit,rain\nA001C002.mov,12B,1,,,\n"
DEFAULTS = """[[default]]
camera = "A"
encoding = "LogC3"
levels = "narrow"
exposure_index = 800
lut = "small.cube"
lut_input = "LogC3 full"
lut_output = "P3-D65 narrow"
clock_offset = 0.5

[[default]]
reel = "A00*"
desqueeze = 1.0

[[default]]
file = "*_hs.mov"
rotation = 180
"""


def make(home: Path, *, night: bool = True) -> None:
    """All of it, in `home`; `work` is as every input finds it, and `whole` its copy. `night`: what takes a render as well."""
    media, work = home / "media", home / "work"
    (home / "outside" / "folder").mkdir(parents=True)
    (home / "outside" / "x").write_text("nobody touches this\n")
    os.mkfifo(home / "outside" / "pipe")
    (home / "outside" / "endless").symlink_to("/dev/zero")
    (home / "outside" / "loop").symlink_to("loop")
    media.mkdir()
    for number in (1, 2):
        frames = [numbered(100 * number + n) for n in range(2)]
        write_movie(media / f"A001C00{number}.mov", frames, timecode=f"{number:02}:00:00:00", reel="A001")
    _texts(work / "day")
    _shots(work / "shots")
    _takes(work / "takes")
    _card(work / "card")
    for path in (*media.rglob("*"), *work.rglob("*")):
        _old(path)
    if night:
        _night(work / "night", work / "day", media)
    copied(work, home / "whole")


def copied(source: Path, target: Path) -> None:
    """A copy with its times; lattices, which nobody writes twice, by another link to them."""

    def copy(path: str, other: str) -> None:
        if path.endswith((".npy", ".npz")):
            os.link(path, other)
        else:
            shutil.copy2(path, other)

    shutil.copytree(source, target, symlinks=True, copy_function=copy)


def _amf() -> str:
    """An ACES Metadata File with a transform of each kind: by id, by file, a grade, and what was applied already."""
    logc3 = f"{aces_samples.V2}CSC.Arri.LogC3_to_ACES.a2.v1"
    return aces_samples.document(
        aces_samples.transform("inputTransform", logc3),
        aces_samples.look_file("down.clf"),
        aces_samples.grade(logc3, to_space=logc3.replace("LogC3_to_ACES", "ACES_to_LogC3")),
        aces_samples.look_file("old.clf", applied="true"),
        aces_samples.transform("outputTransform", f"{aces_samples.V2}Output.Academy.X.a2.v1"),
        clip=aces_samples.clip_id("A001C001", "A001C001.mov"),
    )


def _texts(day: Path) -> None:
    (day / "grades").mkdir(parents=True)
    (day / "aces").mkdir()
    axis = [0.0, 0.5, 1.0]
    cube = "".join(f"{r} {g} {b}\n" for b in axis for g in axis for r in axis)
    one, two = CORRECTION.format("A001C001", "1.04", "1.05", ""), CORRECTION.format("two", "0.98", "0.95", "")
    texts = {
        "day.csv": LIST,
        "bare.csv": "clip,encoding,day,scene,take\nA001C001,LogC3,2026-05-04,12A,3\nA001C002,LogC3,2026-05-04,12B,1\n",
        "day.edl": EDL,
        "day.otio": OTIO,
        "two.toml": RECIPE,
        "log.toml": LOG,
        "framed.toml": FRAMED,
        "small.fdl": FDL,
        "defaults.toml": DEFAULTS,
        "shooting.toml": SHOOTING,
        "scenes.csv": SCENES,
        "small.clf": CLF.format("\n".join(f"{r} {g} {b}" for r in axis for g in axis for b in axis)),
        "small.csp": "CSPLUTV100\n3D\n\n" + "3\n0 0.5 1\n0 0.4 1\n" * 3 + f"\n3 3 3\n{cube}",
        "clf.csv": LIST.replace("small.cube", "small.clf"),
        "csp.csv": LIST.replace("small.cube", "small.csp"),
        "small.cube": f'TITLE "small"\nDOMAIN_MIN 0 0 0\nDOMAIN_MAX 1 1 1\nLUT_3D_SIZE 3\n{cube}',
        "grades/one.cc": HEAD + CORRECTION.format("A001C001", "1.04", "1.05", SPACE),
        "grades/three.ccc": f"{HEAD}<ColorCorrectionCollection{SPACE}>{one}{two}</ColorCorrectionCollection>\n",
        "grades/four.cdl": f"{HEAD}<ColorDecisionList{SPACE}><ColorDecision>{one}</ColorDecision></ColorDecisionList>\n",
        "grades/five.csv": GRADES,
        "aces/six.amf": _amf(),
        "aces/down.clf": clf_of_matrix(np.eye(3) * 0.5, ident="down", name="down"),
        "changes.csv": CHANGES,
        "clocked.csv": CLOCKED,
        "changes.edl": CHANGES_EDL,
    }
    for name, text in texts.items():
        (day / name).write_text(text)


def _shots(shots: Path) -> None:
    """One small original of each format that is read, two frames each."""
    frames = [texture("yuv422p10le", 128, 72, n) for n in range(2)]
    tone = np.arange(2 * 4000, dtype=np.int32).reshape(2, -1) << 12
    shots.mkdir()
    write_movie(shots / "prores.mov", frames, sound=tone, timecode="03:00:00:00", reel="B001")
    large = [texture("yuv422p10le", 256, 144, n) for n in range(2)]
    for ending in ("mov", "mxf"):
        written = ("-c:v", "dnxhd", "-profile:v", "dnxhr_hqx", "-timecode", "04:00:00:00")
        independent.write(shots / f"dnxhr.{ending}", large, *written)
    plain = [texture("yuv420p", 128, 72, n) for n in range(2)]
    independent.write(
        shots / "h264.mp4", plain, "-c:v", "libx264", "-metadata", "comment=Cafe", "-timecode", "05:00:00:00"
    )
    independent.write(shots / "hevc.mp4", plain, "-c:v", "libx265", "-x265-params", "log-level=error")
    codes = np.arange(36 * 64 * 3, dtype=np.uint16).reshape(36, 64, 3) % 1024
    light = (codes / 1023).astype(np.float32)
    for number in (86400, 86401):
        for name, packing, order in (("dpx", "A", ">"), ("packed", "packed", "<")):
            (shots / name).mkdir(exist_ok=True)
            write_dpx(shots / name / f"{name}.{number:07}.dpx", codes, bits=10, packing=packing, order=order)
        for ending, pixels, kind in (
            ("exr", light, "half"),
            ("tif", codes << 6, "uint16"),
            ("png", codes << 6, "uint16"),
        ):
            more: dict[str, Any] = {"FramesPerSecond": (24, 1)} if ending == "exr" else {}
            write_picture(shots / ending / f"{ending}.{number:07}.{ending}", pixels, kind, **more)
        write_picture(shots / "tiled" / f"tiled.{number:07}.exr", light, "float", compression="dwaa")


def _takes(takes: Path) -> None:
    """Sound of two tracks under each of the two originals, the second as RF64 with its chunks last; and an iXML by itself."""
    takes.mkdir()
    for number, form in ((1, "RIFF"), (2, "RF64")):
        first = number * 172_800_000
        said = ixml(
            "12A", str(number), rate="24/1", reference=first, names=("MIX", "BOOM"), family=f"F{number}"
        )
        chunks = {"before" if number == 1 else "after": [chunk(b"bext", bext(first)), chunk(b"iXML", said)]}
        write_wav(
            takes / f"T{number}.wav", 6000, fill=counting(2), first=first, channels=2, form=form, **chunks
        )
    (takes / "T1.ixml").write_bytes(
        ixml("12A", "1", rate="24/1", reference=172_800_000, names=("MIX", "BOOM"))
    )


def _card(root: Path) -> None:
    """A card of two generations with a history of every kind of hash below it, to which the second refers."""
    inner = sealed(card(root / "Inner", a_mov=b"a", b_mov=b"b"), *HASH)
    card(root, Clips__c_mov=b"c", d_mov=b"d", x_tmp=b"")
    generation(root, entry("Clips/old.mov", b"c"), entry("d.mov", b"d", "c4"), folder_entry("Clips"))
    generation(
        root,
        entry("Clips/c.mov", b"c", "md5", action="verified", previous="Clips/old.mov"),
        ignore=[".DS_Store", "ascmhl", "ascmhl/", "/*.tmp", "**/Proxy/"],
        references={inner.relative_to(root).as_posix(): c4_of(inner.read_bytes())},
    )


def _night(night: Path, day: Path, media: Path) -> None:
    out = night / "out"
    shutil.copytree(day, night / "day")
    given = (night / "day" / "day.csv", "--recipe", night / "day" / "two.toml", "--media", media)
    for call in (
        ("render", *given, "--defaults", night / "day" / "defaults.toml", "--out", out),
        ("queue", "add", *given, "--out", night / "other", "--queue", night / "queue.sqlite"),
        ("verify", out),
        ("handover", out, "--name", "editor", "--to", night / "to", "--copy"),
    ):
        code, said = run(*call)
        assert code in (0, 1), (call, code, said)  # so small pictures are not always in the right colour
    assert len(list(out.glob("*/A001C00*"))) == 8, said
    shutil.rmtree(out / ".work", ignore_errors=True)


def _old(path: Path) -> None:
    """A day old: nobody writes to it any more."""
    os.utime(path, (path.stat().st_atime - 86400, path.stat().st_mtime - 86400))
