#!/usr/bin/env python3
"""Make the sample clips: a day of an invented short film, "The Lamp at Farrow Quay".

    python sample_frames/make_samples.py [OUT [CLIP ...]]

The scenes (quay.py, garden.py, kitchen.py) are drawn in scene-linear light from measured spectra (spectra.py) by a
small ray marcher (marcher.py), given a little grain, and encoded to camera log by colour-science. Nothing here shares
code with rushlight. Writes the clips, the grades, the show LUT, day.csv, truth.json (where the patches of chart and
ramp are, and their scene-linear ACES2065-1 values) and the README's two pictures. The marching takes a quarter of an
hour on two cores; naming clips makes only those.
"""

import fractions
import json
import pathlib
import sys

import av
import garden
import kitchen
import numpy as np
import OpenImageIO as oiio
import quay
from spectra import AP0, colour

F = fractions.Fraction


def grained(picture, seed, amount):
    rng = np.random.default_rng(seed)
    return picture + rng.standard_normal(picture.shape) * np.sqrt(
        np.maximum(picture, 0) * amount + amount * amount
    )


ENCODERS = {
    "S-Log3/S-Gamut3.Cine": ("S-Gamut3.Cine", colour.models.log_encoding_SLog3),
    "ARRI LogC3/Wide Gamut 3": ("ARRI Wide Gamut 3", colour.models.log_encoding_ARRILogC3),
    "V-Log/V-Gamut": ("V-Gamut", colour.models.log_encoding_VLog),
}


def encoded(ap0, name):
    space, curve = ENCODERS[name]
    cat = "Bradford" if space == "V-Gamut" else "CAT02"
    matrix = colour.matrix_RGB_to_RGB(AP0, colour.RGB_COLOURSPACES[space], chromatic_adaptation_transform=cat)
    return np.clip(curve(ap0 @ matrix.T), 0, 1)


def ycbcr422(rgb):
    """R'G'B' 0..1 as narrow 10-bit 4:2:2 planes: BT.709-6 items 3.2 to 3.4, chroma co-sited by [1 2 1]/4."""
    r, g, b = np.moveaxis(rgb, -1, 0)
    luma = 0.2126 * r + 0.7152 * g + 0.0722 * b
    planes = [64 + 876 * luma]
    for c in ((b - luma) / 1.8556, (r - luma) / 1.5748):
        wide = np.pad(c, ((0, 0), (1, 1)), "edge")
        planes.append(512 + 896 * (0.25 * (wide[:, :-2:2] + wide[:, 2::2]) + 0.5 * wide[:, 1:-1:2]))
    return [np.clip(np.rint(p), 4, 1019).astype("<u2") for p in planes]


def sound(frames, rate, seed):
    """Stereo ambience, swelling like small waves, and a pip at each second: int32 (2, samples) at 48 kHz."""
    n = round(frames * 48000 / rate)
    rng = np.random.default_rng(seed)
    hertz = np.fft.rfftfreq(n, 1 / 48000)
    shape = (hertz / (hertz + 60)) / (1 + (hertz / 350) ** 1.5)
    wash = np.fft.irfft(np.fft.rfft(rng.standard_normal((2, n))) * shape, n)
    t = np.arange(n) / 48000
    wash *= 0.6 + 0.4 * np.sin(2 * np.pi * 0.45 * t + np.array([[0.0], [0.8]]))
    wash *= 0.07 / np.abs(wash).max()
    edge = np.clip(np.minimum(np.mod(t, 1), 0.05 - np.mod(t, 1)) / 0.004, 0, 1)
    pip = 0.1 * np.sin(2 * np.pi * 1000 * t) * edge
    return np.rint((wash + pip) * (2**31 - 1)).astype(np.int32)


def movie(path, pictures, rate, timecode, reel, encoding, seed):
    frames = [encoded(p, encoding) for p in pictures]
    height, width, _ = frames[0].shape
    with av.open(str(path), "w", options={"fflags": "+bitexact"}) as out:
        v = out.add_stream(
            "prores_ks", rate=rate, options={"profile": "lt", "vendor": "apl0", "bits_per_mb": "360"}
        )
        v.width, v.height, v.pix_fmt, v.codec_context.thread_count = width, height, "yuv422p10le", 1
        v.codec_context.time_base = 1 / rate
        v.codec_context.color_range, v.codec_context.colorspace = 1, 1
        v.metadata["timecode"], v.metadata["reel_name"] = timecode, reel
        a = out.add_stream("pcm_s24le", rate=48000, layout="stereo")
        for i, rgb in enumerate(frames):
            f = av.VideoFrame(width, height, "yuv422p10le")
            for plane, values in zip(f.planes, ycbcr422(rgb), strict=True):
                rows = np.zeros((plane.height, plane.line_size // 2), "<u2")
                rows[:, : plane.width] = values
                plane.update(rows.tobytes())
            f.color_range, f.colorspace, f.pts, f.time_base = 1, 1, i, 1 / rate
            out.mux(v.encode(f))
        out.mux(v.encode(None))
        samples = sound(len(frames), rate, seed)
        f = av.AudioFrame.from_ndarray(
            np.ascontiguousarray(samples.T.reshape(1, -1)), format="s32", layout="stereo"
        )
        f.sample_rate, f.pts = 48000, 0
        out.mux(a.encode(f))
        out.mux(a.encode(None))


def sequence(folder, pictures, timecode, encoding):
    folder.mkdir(parents=True, exist_ok=True)
    hours, minutes, seconds, frame = (int(p) for p in timecode.split(":"))
    first = ((hours * 60 + minutes) * 60 + seconds) * 24 + frame
    for number, picture in enumerate(pictures, first):
        codes = np.rint(encoded(picture, encoding) * 1023).astype(np.uint16)
        buf = oiio.ImageBuf(np.ascontiguousarray((codes << 6) | (codes >> 4)))
        s, f = divmod(number, 24)
        digits = [s // 3600, s // 60 % 60, s % 60, f]
        word = sum((d // 10 << 4 | d % 10) << shift for d, shift in zip(digits, (24, 16, 8, 0), strict=True))
        spec = buf.specmod()
        spec.attribute("smpte:TimeCode", oiio.TypeTimeCode, (word, 0))
        spec.attribute("oiio:BitsPerSample", 10)
        spec.attribute("dpx:FrameRate", 24.0)
        spec.attribute("DateTime", "2026:09:14 21:00:00")
        path = folder / f"{folder.name}.{number:07d}.dpx"
        assert buf.write(str(path), oiio.UINT16), buf.geterror()
        with path.open("r+b") as file:  # SMPTE ST 268, file name: the name alone, not this machine's path
            file.seek(36)
            file.write(path.name.encode().ljust(100, b"\0"))


def show_lut(path, size=33):
    """The invented show look "farrow": S-Log3/S-Gamut3.Cine to Rec.709 BT.1886, soft shoulder, warm highs, cool shade."""
    axis = np.linspace(0, 1, size)
    b, g, r = np.meshgrid(axis, axis, axis, indexing="ij")
    linear = colour.models.log_decoding_SLog3(np.stack([r, g, b], -1))
    matrix = colour.matrix_RGB_to_RGB(
        colour.RGB_COLOURSPACES["S-Gamut3.Cine"],
        colour.RGB_COLOURSPACES["ITU-R BT.709"],
        chromatic_adaptation_transform="CAT02",
    )
    linear = np.maximum(linear @ matrix.T, 0)
    luma = linear @ np.array([0.2126, 0.7152, 0.0722])
    linear = luma[..., None] + 0.92 * (linear - luma[..., None])
    tone = np.clip((1.02 * np.maximum(linear, 0) ** 1.15) / (np.maximum(linear, 0) ** 1.15 + 0.55), 0, 1)
    mean = tone.mean(-1, keepdims=True)
    warm = np.array([1.035, 1.0, 0.955])
    cool = np.array([0.97, 1.0, 1.06])
    tone = np.clip(tone * (cool + (warm - cool) * np.clip(mean * 1.6, 0, 1)), 0, 1)
    values = tone ** (1 / 2.4)
    lines = [
        "# an invented show look: S-Log3/S-Gamut3.Cine, full range, to Rec.709 BT.1886",
        'TITLE "farrow"',
        f"LUT_3D_SIZE {size}",
    ]
    lines += ["{:.5f} {:.5f} {:.5f}".format(*v) for v in values.reshape(-1, 3)]
    path.write_text("\n".join(lines) + "\n")


CDL = """<?xml version="1.0" encoding="UTF-8"?>
<ColorDecisionList xmlns="urn:ASC:CDL:v1.2">
    <ColorDecision>
        <ColorCorrection id="garden_12A_3">
            <SOPNode>
                <Description>a touch warmer, shade kept open</Description>
                <Slope>1.04 1.0 0.96</Slope>
                <Offset>0.004 0.0 -0.006</Offset>
                <Power>1.0 1.0 1.0</Power>
            </SOPNode>
            <SatNode>
                <Saturation>1.05</Saturation>
            </SatNode>
        </ColorCorrection>
    </ColorDecision>
</ColorDecisionList>
"""

CCC = """<?xml version="1.0" encoding="UTF-8"?>
<ColorCorrectionCollection xmlns="urn:ASC:CDL:v1.2">
    <ColorCorrection id="kitchen_7_1">
        <SOPNode>
            <Slope>0.98 1.0 1.09</Slope>
            <Offset>-0.004 0.0 0.008</Offset>
            <Power>1.02 1.0 0.98</Power>
        </SOPNode>
        <SatNode>
            <Saturation>0.95</Saturation>
        </SatNode>
    </ColorCorrection>
    <ColorCorrection id="kitchen_7_2">
        <SOPNode>
            <Slope>1.02 1.0 1.02</Slope>
            <Offset>0.0 0.0 0.0</Offset>
            <Power>1.0 1.0 1.0</Power>
        </SOPNode>
        <SatNode>
            <Saturation>1.0</Saturation>
        </SatNode>
    </ColorCorrection>
</ColorCorrectionCollection>
"""

LIST = """clip,encoding,levels,slope,offset,power,saturation,cdl,lut,scene,take,camera,circled,day,note
A001C003.mov,S-Log3/S-Gamut3.Cine,narrow,1.06 1.0 0.97,0.0 0.0 0.004,1.02 1.0 1.0,1.08,,farrow.cube,41,2,A,yes,2026-09-14,the boat comes in and the lamp is lit
A001C007.mov,ARRI LogC3,narrow,,,,,garden.cdl#garden_12A_3,,12A,3,A,yes,2026-09-14,chart and ramp at the head
B001C002,V-Log,full,,,,,kitchen.ccc#kitchen_7_1,,7,1,B,no,2026-09-14,lamplight only
"""


def readme_pictures(out, log):
    """A frame of the quay before and after: its log picture, and through its grade and the show LUT."""
    slope, offset, power, saturation = [1.06, 1.0, 0.97], [0.0, 0.0, 0.004], [1.02, 1.0, 1.0], 1.08
    graded = np.clip(log * slope + offset, 0, 1) ** power
    luma = graded @ np.array([0.2126, 0.7152, 0.0722])
    graded = np.clip(luma[..., None] + saturation * (graded - luma[..., None]), 0, 1)
    lut = colour.read_LUT(str(out / "farrow.cube"))
    shown = lut.apply(graded, interpolator=colour.algebra.table_interpolation_tetrahedral)
    for name, picture in (("before", log), ("after", shown)):
        buf = oiio.ImageBuf(np.ascontiguousarray(picture, np.float32))
        buf = oiio.ImageBufAlgo.resize(buf, roi=oiio.ROI(0, 640, 0, 360, 0, 1, 0, 3))
        buf.specmod().attribute("compression", "jpeg:90")
        assert buf.write(str(out / f"{name}.jpg"), oiio.UINT8), buf.geterror()


def main():
    out = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else pathlib.Path(__file__).parent)
    out.mkdir(parents=True, exist_ok=True)
    (out / "garden.cdl").write_text(CDL)
    (out / "kitchen.ccc").write_text(CCC)
    (out / "day.csv").write_text(LIST)
    show_lut(out / "farrow.cube")
    told = out / "truth.json"
    truth = json.loads(told.read_text()) if told.exists() else {}
    clips = [
        ("A001C003.mov", quay, F(24000, 1001), "19:46:12:10", 40, (960, 540), "S-Log3/S-Gamut3.Cine", 5.0e-5),
        (
            "A001C007.mov",
            garden,
            F(30000, 1001),
            "10:05:59;12",
            40,
            (960, 540),
            "ARRI LogC3/Wide Gamut 3",
            3.0e-5,
        ),
        ("B001C002", kitchen, F(24), "21:03:30:00", 3, (640, 360), "V-Log/V-Gamut", 4.0e-5),
    ]
    for seed, (name, scene, rate, timecode, count, (width, height), encoding, grain) in enumerate(clips):
        if len(sys.argv) > 2 and name not in sys.argv[2:]:
            continue
        shots = list(scene.pictures(width, height, count))
        pictures = [grained(picture, 1000 * seed + i, grain) for i, (picture, _) in enumerate(shots)]
        places = shots[-1][1]
        if name.endswith(".mov"):
            movie(out / name, pictures, rate, timecode, "A001", encoding, seed)
        else:
            sequence(out / name, pictures, timecode, encoding)
        if scene is quay:
            readme_pictures(out, encoded(pictures[count // 2], encoding))
        truth[name] = {
            "encoding": encoding,
            "rate": str(rate),
            "timecode": timecode,
            "frames": count,
            "width": width,
            "height": height,
            "patches": places.get("patches", {}),
            "ramp": places.get("ramp", []),
        }
        print(name, count, "frames", flush=True)
    told.write_text(json.dumps(truth, indent=1) + "\n")


if __name__ == "__main__":
    main()
