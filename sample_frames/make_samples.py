#!/usr/bin/env python3
"""Make the sample clips: a day of an invented short film, "The Lamp at Farrow Quay".

    python sample_frames/make_samples.py [OUT]

Everything in the pictures is built from measured reflectances (colour-science's ISO 17321-1 chart) under standard
illuminants, integrated with the CIE 1931 observer, lit and shaded in scene-linear light, given a little grain,
and encoded to camera log by colour-science. It shares no code with rushlight. Writes the clips, the grades, the
show LUT, day.csv and truth.json (where the chart patches are, and their scene-linear ACES2065-1 values).
"""

import fractions
import json
import pathlib
import sys
import warnings

import av
import numpy as np
import OpenImageIO as oiio

warnings.filterwarnings("ignore")
import colour  # noqa: E402

F = fractions.Fraction
CHART = colour.SDS_COLOURCHECKERS["ISO 17321-1"]
NAMES = list(CHART)
CMFS = (
    colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(colour.SpectralShape(380, 780, 10))
)
AP0 = colour.RGB_COLOURSPACES["ACES2065-1"]


def light(name, kelvin=None):
    """An illuminant as 41 samples, its Y normalised to 1."""
    sd = (
        colour.sd_blackbody(kelvin, CMFS.shape)
        if kelvin
        else colour.SDS_ILLUMINANTS[name].copy().align(CMFS.shape)
    )
    return sd.values / (sd.values @ CMFS.values[:, 1])


def seen(reflectance, illuminant):
    """ACES2065-1 linear RGB of a reflectance under an illuminant; D65 is the camera's white."""
    xyz = (reflectance * illuminant) @ CMFS.values
    white = colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"])
    to_aces = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        white, colour.xy_to_XYZ(AP0.whitepoint), transform="CAT02"
    )
    return np.maximum((to_aces @ xyz) @ AP0.matrix_XYZ_to_RGB.T, 0)


def patch(name):
    return CHART[name].copy().align(CMFS.shape).values


DAY, DUSK, LAMP = light("D65"), light(None, 12000), light("A")
FLAT = np.ones(len(CMFS.wavelengths))


def noise(shape, cells, seed):
    """Smooth noise 0..1: random values on a coarse grid, interpolated by smooth steps, three octaves."""
    rng = np.random.default_rng(seed)
    total, weight = np.zeros(shape), 0.0
    for octave in range(3):
        ch, cw = cells[0] * 2**octave, cells[1] * 2**octave
        grid = rng.random((ch + 2, cw + 2))
        y, x = np.linspace(0, ch, shape[0]), np.linspace(0, cw, shape[1])
        iy, ix = y.astype(int), x.astype(int)
        fy, fx = (y - iy)[:, None], (x - ix)[None]
        fy, fx = fy * fy * (3 - 2 * fy), fx * fx * (3 - 2 * fx)
        rows = grid[iy] * (1 - fy) + grid[iy + 1] * fy
        total += (rows[:, ix] * (1 - fx) + rows[:, ix + 1] * fx) / 2**octave
        weight += 1 / 2**octave
    return total / weight


def soft(distance, width):
    """1 inside (negative distance), 0 outside, `width` pixels of edge."""
    return np.clip(0.5 - distance / width, 0, 1)


def lay(picture, mask, value):
    return picture * (1 - mask[..., None]) + np.asarray(value) * mask[..., None]


def box(x, y, x0, y0, x1, y1):
    return np.maximum(np.maximum(x0 - x, x - x1), np.maximum(y0 - y, y - y1))


def chart(picture, x, y, left, top, size, illuminant, shade=1.0):
    """The 24 patches on a black card; gives the picture and each patch's middle."""
    gap = size * 0.14
    w, h = 6 * size + 7 * gap, 4 * size + 5 * gap
    picture = lay(
        picture, soft(box(x, y, left, top, left + w, top + h), 1.5), seen(FLAT * 0.035, illuminant) * shade
    )
    places = {}
    for k, name in enumerate(NAMES):
        px, py = left + gap + (k % 6) * (size + gap), top + gap + (k // 6) * (size + gap)
        value = seen(patch(name), illuminant) * shade
        picture = lay(picture, soft(box(x, y, px, py, px + size, py + size), 1.2), value)
        places[name] = {
            "x": round(px + size / 2),
            "y": round(py + size / 2),
            "ap0": [float(v) for v in value],
        }
    return picture, places


def quay(width, height, t):
    """Dusk over water: a warm band of sky, hills, a lamp on the quay, a boat going by."""
    y, x = np.mgrid[0:height, 0:width].astype(float)
    u, v = x / width, y / height
    zenith, band = seen(patch("blue sky"), DUSK) * 0.75, seen(patch("orange"), light(None, 3400)) * 1.15
    horizon = 0.52
    glow = np.exp(-(((v - horizon) / 0.16) ** 2)) * (0.55 + 0.45 * np.exp(-(((u - 0.3) / 0.35) ** 2)))
    clouds = noise((height, width), (7, 5), 3)
    sky = (
        zenith * (0.45 + 0.55 * (v / horizon).clip(0, 1))[..., None]
        + band * (glow * (0.7 + 0.6 * clouds))[..., None]
    )
    streak = np.clip((clouds - 0.52) * 4, 0, 1) * np.exp(-(((v - 0.33) / 0.14) ** 2))
    picture = sky + (band * 0.5 + seen(patch("moderate red"), DUSK) * 0.5) * streak[..., None] * 0.7
    ripple = noise((height, width), (90, 9), 5)
    mirrored = np.clip(2 * horizon - v + (ripple - 0.5) * 0.10 * (v - horizon).clip(0, 1) * 4, 0, 1)
    rows = np.clip((mirrored * height).astype(int), 0, height - 1)
    water = picture[rows, x.astype(int)] * 0.42 + seen(patch("cyan"), DUSK) * 0.035
    water *= (0.75 + 0.5 * ripple)[..., None]
    picture = np.where((v > horizon)[..., None], water, picture)
    ridge = (
        horizon - 0.055 - 0.05 * noise((1, width), (1, 6), 8)[0] - 0.03 * np.exp(-(((u - 0.75) / 0.2) ** 2))
    )
    hills = seen(patch("foliage"), DUSK) * 0.16 + seen(patch("purplish blue"), DUSK) * 0.09
    picture = lay(picture, soft((ridge - v) * height, 2.5) * (v < horizon), hills)
    bx = (0.34 + 0.13 * t) * width
    by = (horizon + 0.115) * height + 1.5 * np.sin(6.28 * t)
    hull = np.maximum(np.abs(x - bx) - 74 * (1 - ((y - by) / 60).clip(0, 1)), np.maximum(by - y, y - by - 22))
    picture = lay(picture, soft(hull, 2.0), seen(patch("red"), DUSK) * 0.5)
    picture = lay(
        picture,
        soft(box(x, y, bx - 30, by - 26, bx + 18, by), 1.5),
        seen(patch("white 9.5 (.05 D)"), DUSK) * 0.45,
    )
    picture = lay(picture, soft(box(x, y, bx - 20, by - 20, bx - 4, by - 8), 1.5), seen(FLAT, LAMP) * 3.0)
    picture = lay(
        picture, soft(np.abs(x - bx - 26) - 1.3, 1.2) * (y < by) * (y > by - 92), seen(FLAT * 0.05, DUSK)
    )
    deck_top = 0.86 * height - 8 * np.sin(u * 3.1)
    planks = 0.75 + 0.25 * noise((height, width), (60, 5), 21)
    deck = seen(patch("dark skin"), DUSK) * 0.7
    picture = lay(picture, soft(deck_top - y, 2.0), deck * planks[..., None] * 0.8)
    lx, ly = 0.8 * width, 0.30 * height
    post = soft(np.abs(x - lx) - 5.0, 1.5) * (y > ly) * (y < 0.93 * height)
    picture = lay(picture, post, seen(FLAT * 0.06, DUSK))
    distance = np.hypot(x - lx, y - ly)
    flicker = 1 + 0.04 * np.sin(19 * t) + 0.03 * np.sin(47 * t)
    lamp = seen(FLAT, LAMP)
    halo = 1.4 * np.exp(-distance / 18) + 0.16 * np.exp(-distance / 95)
    pool = 0.5 * np.exp(-(((x - lx) / 210) ** 2) - (((y - 0.95 * height) / 60) ** 2)) * (y > deck_top)
    path = (
        np.exp(-(((x - lx) / (10 + 60 * (v - horizon).clip(0, 1))) ** 2))
        * (v > horizon)
        * (y < deck_top)
        * (ripple > 0.52)
        * 0.35
    )
    picture = picture + lamp * ((halo + path) * flicker)[..., None]
    picture = picture + (lamp * deck * 14) * (pool * planks * flicker)[..., None]
    picture = lay(picture, soft(distance - 10, 3), lamp * 16 * flicker)
    fx, fy = 0.66 * width, 0.87 * height
    body = np.minimum(
        np.hypot((x - fx) / 1.0, y - (fy - 118)) - 15,
        np.maximum(np.abs(x - fx) - 21 - (y - fy + 95) * 0.09, np.maximum(fy - 103 - y, y - fy)),
    )
    rim = np.clip((x - fx) / 24, 0, 1) ** 2
    coat = (
        seen(patch("blue"), DUSK)[None, None] * 0.35
        + (seen(patch("blue"), LAMP) * 2.2)[None, None] * rim[..., None]
    )
    picture = lay(picture, soft(body, 2.0), coat)
    face = np.hypot((x - fx) / 1.0, y - (fy - 118)) - 15
    skin = (
        seen(patch("light skin"), DUSK)[None, None] * 0.3
        + (seen(patch("light skin"), LAMP) * 1.6)[None, None] * rim[..., None]
    )
    picture = lay(picture, soft(face, 2.0), skin)
    return picture, {}


def garden(width, height, t):
    """Daylight camera test: the chart, a grey ramp, skin, leaves, open sky, a ball that rolls by."""
    y, x = np.mgrid[0:height, 0:width].astype(float)
    u, v = x / width, y / height
    sky = seen(patch("blue sky"), light(None, 9000)) * (1.6 + 1.0 * v)[..., None]
    clouds = np.clip((noise((height, width), (5, 4), 31) - 0.45) * 3, 0, 1) * (v < 0.5)
    picture = lay(sky, clouds, seen(FLAT * 0.9, DAY) * 1.5)
    hedge = 0.40 + 0.05 * noise((1, width), (1, 14), 33)[0]
    leaves = noise((height, width), (42, 70), 35)
    green = seen(patch("foliage"), DAY)[None, None] * (0.35 + 1.5 * leaves[..., None] ** 2) + seen(
        patch("yellow green"), DAY
    ) * (0.45 * np.clip(leaves - 0.55, 0, 1)[..., None] * 2)
    picture = lay(picture, soft((hedge - v) * height, 5), green)
    flowers = noise((height, width), (60, 100), 39) > 0.80
    picture = lay(
        picture, (flowers & (v > hedge + 0.03) & (v < 0.66)) * 0.85, seen(patch("magenta"), DAY) * 1.1
    )
    table = seen(patch("dark skin"), DAY) * 1.25
    grain = 0.8 + 0.35 * noise((height, width), (150, 6), 41)
    picture = lay(picture, soft((0.70 - v) * height, 2), table * (grain * (1.1 - 0.25 * u))[..., None])
    picture, places = chart(picture, x, y, 0.06 * width, 0.33 * height, 0.055 * width, DAY)
    for k in range(11):
        left = (0.06 + k * 0.0362) * width
        value = seen(FLAT * 0.18 * 2.0 ** ((k - 7) / 1.6), DAY)
        picture = lay(
            picture, soft(box(x, y, left, 0.82 * height, left + 0.0362 * width, 0.91 * height), 1.0), value
        )
    cx, cy, radius = 0.66 * width, 0.46 * height, 0.15 * height
    nx, ny = (x - cx) / radius, (y - cy) / radius
    nz = np.sqrt(np.clip(1 - nx**2 - ny**2, 0, 1))
    shade = 0.16 + 0.95 * np.clip(-0.45 * nx - 0.55 * ny + 0.70 * nz, 0, 1)
    picture = lay(
        picture,
        soft((np.hypot(nx, ny) - 1) * radius, 2),
        seen(patch("light skin"), DAY)[None, None] * shade[..., None],
    )
    picture = lay(
        picture,
        soft(box(x, y, cx - 26, cy + radius * 0.93, cx + 26, 0.72 * height), 2),
        seen(patch("light skin"), DAY) * 0.45,
    )
    bx, by, radius = (0.52 + 0.36 * t) * width, 0.83 * height, 0.075 * height
    picture = (
        picture * (1 - 0.6 * np.exp(-(((x - bx - 12) / 55) ** 2) - (((y - by - radius) / 9) ** 2)))[..., None]
    )
    nx, ny = (x - bx) / radius, (y - by) / radius
    nz = np.sqrt(np.clip(1 - nx**2 - ny**2, 0, 1))
    angle = np.arctan2(ny, nx) + 9 * t
    stripe = (np.sin(3 * angle) > 0)[..., None]
    paint = np.where(stripe, seen(patch("orange yellow"), DAY), seen(patch("blue"), DAY) * 1.4)
    shade = 0.18 + 0.9 * np.clip(-0.45 * nx - 0.55 * ny + 0.70 * nz, 0, 1)
    spark = 3.0 * np.clip(-0.40 * nx - 0.52 * ny + 0.75 * nz, 0, 1) ** 60
    picture = lay(
        picture,
        soft((np.hypot(nx, ny) - 1) * radius, 2),
        paint * shade[..., None] + spark[..., None] * seen(FLAT, DAY),
    )
    return picture, places


def kitchen(width, height, t):
    """Lamplight indoors: a window with the last blue light, a table, fruit, the chart leaning on the wall."""
    y, x = np.mgrid[0:height, 0:width].astype(float)
    _u, v = x / width, y / height
    lx, ly = 0.60 * width, 0.24 * height
    distance = np.hypot(x - lx, y - ly) / height
    falloff = 0.07 + 1.1 / (1 + 9 * distance**2)
    plaster = seen(patch("orange yellow"), LAMP) * 0.55 + seen(patch("neutral 6.5 (.44 D)"), LAMP) * 0.5
    texture = 0.9 + 0.2 * noise((height, width), (40, 60), 51)
    picture = plaster * (falloff * texture)[..., None]
    frame = box(x, y, 0.70 * width, 0.12 * height, 0.94 * width, 0.58 * height)
    picture = lay(picture, soft(frame - 7, 2), seen(patch("dark skin"), LAMP) * 0.35)
    evening = seen(patch("blue sky"), DUSK) * (0.12 + 0.45 * (v / 0.58) ** 2)[..., None]
    tree = noise((height, width), (16, 12), 53) > 0.55
    evening = np.where((tree & (v > 0.25))[..., None], evening * 0.35, evening)
    picture = lay(picture, soft(frame, 2), evening)
    for bar in (np.abs(x - 0.82 * width) - 3, np.abs(y - 0.35 * height) - 3):
        picture = lay(picture, soft(np.maximum(bar, frame), 1.5), seen(patch("dark skin"), LAMP) * 0.35)
    cloth = seen(patch("bluish green"), LAMP) * 0.5
    weave = 0.85 + 0.3 * noise((height, width), (90, 90), 55)
    picture = lay(picture, soft((0.74 - v) * height, 2), cloth * (falloff * weave * 1.15)[..., None])
    picture, places = chart(picture, x, y, 0.05 * width, 0.16 * height, 0.055 * width, LAMP, 0.62)
    for k, (fx, fy, r, name) in enumerate(
        (
            (0.46, 0.72, 0.085, "orange"),
            (0.56, 0.74, 0.075, "red"),
            (0.37, 0.76, 0.07, "yellow green"),
            (0.50, 0.82, 0.065, "yellow"),
        )
    ):
        cx, cy, radius = fx * width, fy * height, r * height
        picture = (
            picture
            * (
                1
                - 0.55
                * np.exp(-(((x - cx) / (1.2 * radius)) ** 2) - (((y - cy - radius) / (0.25 * radius)) ** 2))
            )[..., None]
        )
        nx, ny = (x - cx) / radius, (y - cy) / radius
        nz = np.sqrt(np.clip(1 - nx**2 - ny**2, 0, 1))
        dx, dy = (lx - cx) / height, (ly - cy) / height
        n = np.sqrt(dx * dx + dy * dy + 0.35**2)
        shade = 0.10 + 1.25 * np.clip((dx * nx + dy * ny + 0.35 * nz) / n, 0, 1)
        peel = 0.92 + 0.16 * noise((height, width), (50, 80), 60 + k)
        picture = lay(
            picture,
            soft((np.hypot(nx, ny) - 1) * radius, 1.6),
            seen(patch(name), LAMP)[None, None] * (shade * peel)[..., None],
        )
    cord = soft(np.abs(x - lx - 2 * np.sin(3 * t)) - 1.2, 1.0) * (y < ly - 0.06 * height)
    picture = lay(picture, cord, seen(FLAT * 0.04, LAMP))
    shade_mask = np.maximum(
        np.abs(x - lx) - (0.03 * height + (y - ly + 0.07 * height) * 0.9),
        np.maximum(ly - 0.07 * height - y, y - ly),
    )
    picture = lay(picture, soft(shade_mask, 1.5), seen(patch("moderate red"), LAMP) * 0.9)
    picture = (
        picture + seen(FLAT, LAMP) * (1.6 * np.exp(-distance * 26) + 0.10 * np.exp(-distance * 7))[..., None]
    )
    picture = lay(
        picture,
        soft(np.hypot(x - lx, (y - ly - 3) * 1.6) - 0.026 * height, 2),
        seen(FLAT, LAMP) * 12 * (1 + 0.02 * np.sin(23 * t)),
    )
    return picture, places


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
    """Stereo ambience and a pip at each second: int32 (2, samples) at 48 kHz."""
    n = round(frames * 48000 / rate)
    rng = np.random.default_rng(seed)
    wash = np.cumsum(rng.standard_normal((2, n)), axis=1)
    wash -= np.linspace(0, 1, n) * wash[:, -1:]
    wash /= np.abs(wash).max()
    t = np.arange(n) / 48000
    pip = 0.2 * np.sin(2 * np.pi * 1000 * t) * (np.mod(t, 1) < 0.04)
    return ((0.12 * wash + pip) * (2**31 - 1)).astype(np.int32)


def movie(path, pictures, rate, timecode, reel, encoding, seed):
    frames = [encoded(p, encoding) for p in pictures]
    height, width, _ = frames[0].shape
    with av.open(str(path), "w", options={"fflags": "+bitexact"}) as out:
        v = out.add_stream(
            "prores_ks", rate=rate, options={"profile": "lt", "vendor": "apl0", "bits_per_mb": "420"}
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
        assert buf.write(str(folder / f"{folder.name}.{number:07d}.dpx"), oiio.UINT16), buf.geterror()
        file = folder / f"{folder.name}.{number:07d}.dpx"
        header = bytearray(file.read_bytes())
        header[36:136] = file.name.encode().ljust(100, b"\0")  # ST 268-1 image file name: no folder of ours
        file.write_bytes(header)


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
    lines += ["{:.6f} {:.6f} {:.6f}".format(*v) for v in values.reshape(-1, 3)]
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
A001C003.mov,S-Log3/S-Gamut3.Cine,narrow,1.06 1.0 0.97,0.0 0.0 0.004,1.02 1.0 1.0,1.08,,farrow.cube,41,2,A,yes,2026-09-14,the boat passes before the lamp is lit
A001C007.mov,ARRI LogC3,narrow,,,,,garden.cdl#garden_12A_3,,12A,3,A,yes,2026-09-14,chart and ramp at the head
B001C002,V-Log,full,,,,,kitchen.ccc#kitchen_7_1,,7,1,B,no,2026-09-14,lamplight only
"""


def main():
    out = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else pathlib.Path(__file__).parent)
    out.mkdir(parents=True, exist_ok=True)
    truth = {}
    clips = [
        ("A001C003.mov", quay, F(24000, 1001), "19:46:12:10", 40, (960, 540), "S-Log3/S-Gamut3.Cine", 6.0e-5),
        (
            "A001C007.mov",
            garden,
            F(30000, 1001),
            "10:05:59;12",
            40,
            (960, 540),
            "ARRI LogC3/Wide Gamut 3",
            4.0e-5,
        ),
        ("B001C002", kitchen, F(24), "21:03:30:00", 3, (640, 360), "V-Log/V-Gamut", 1.0e-4),
    ]
    for seed, (name, scene, rate, timecode, count, (width, height), encoding, grain) in enumerate(clips):
        pictures, places = [], {}
        for i in range(count):
            picture, places = scene(width, height, i / max(count - 1, 1))
            pictures.append(grained(picture, 1000 * seed + i, grain))
        if name.endswith(".mov"):
            movie(out / name, pictures, rate, timecode, "A001", encoding, seed)
        else:
            sequence(out / name, pictures, timecode, encoding)
        truth[name] = {
            "encoding": encoding,
            "rate": str(rate),
            "timecode": timecode,
            "frames": count,
            "width": width,
            "height": height,
            "patches": places,
        }
        print(name, count, "frames", flush=True)
    (out / "garden.cdl").write_text(CDL)
    (out / "kitchen.ccc").write_text(CCC)
    (out / "day.csv").write_text(LIST)
    show_lut(out / "farrow.cube")
    (out / "truth.json").write_text(json.dumps(truth, indent=1) + "\n")


if __name__ == "__main__":
    main()
