"""Lamplight in the kitchen: fruit, a jug, the last blue in the window, and the chart on the table."""

import numpy as np
from chart import WIDE, chart, project
from marcher import ball, block, clip, cloud, cone, egg, marcher, melt, njit, noise, step
from spectra import AFTERGLOW, DUSK, FLAT, LAMP, patch, seen, table

WALL, TABLE, BOWL, ORANGE, LEMON, APPLE, LIME, JUG, SHADE, BULB, FRAME, CARD, CLOTH, STEM = range(14)
MATERIALS = [
    patch("neutral 6.5 (.44 D)") * 1.0 + patch("bluish green") * 0.14 + patch("light skin") * 0.1,
    patch("dark skin") * 0.9 + patch("orange yellow") * 0.12,
    patch("white 9.5 (.05 D)") * 0.85,
    patch("orange") * 1.1,
    patch("yellow") * 1.0,
    patch("red") * 0.9,
    patch("yellow green") * 0.8,
    patch("blue") * 0.9 + FLAT * 0.03,
    patch("foliage") * 0.55,
    FLAT,
    patch("dark skin") * 0.55,
    FLAT * 0.03,
    patch("white 9.5 (.05 D)") * 0.72,
    patch("foliage") * 0.4,
    FLAT,
]
BULB_AT = np.array([0.34, 1.0, 0.06])


def sky_of(glow, high, tree, lamp):
    """Through the window: evening, roofs, a tree, a few lamps."""

    @njit
    def sky(dx, dy, dz, t):
        az, el = np.arctan2(dx, dz), dy
        out = np.empty(3)
        low = np.exp(-max(el + 0.06, 0.0) / 0.07)
        for k in range(3):
            out[k] = high[k] * (0.55 + 0.5 * low) + glow[k] * low * 0.5
        roof = -0.035 + 0.045 * max(0.0, 1 - abs(az - 0.245) / 0.05) + 0.03 * cloud(az * 22, 1.0, 1.0, 4)
        if el < roof:
            for k in range(3):
                out[k] = tree[k]
        branch = cloud(az * 26 + 4, el * 26, 3.0, 4)
        if branch > 0.60 and az > 0.27 - 0.6 * el:
            for k in range(3):
                out[k] = tree[k]
        for k in range(4):
            d = ((az - 0.225 - 0.028 * k) ** 2 + (el + 0.020 - 0.006 * np.sin(7.0 * k)) ** 2) / 0.0028**2
            if d < 16:
                for c in range(3):
                    out[c] += 3.5 * np.exp(-d) * lamp[c]
        return out

    return sky


@njit
def near(x, y, z, t):
    best, m = abs(z - 1.25) - 0.13, WALL
    hole = block(x - 1.00, y - 0.80, z - 1.2, 0.30, 0.42, 0.9, 0.0)
    best = max(best, -hole)
    sill = block(x - 1.00, y - 0.36, z - 1.11, 0.36, 0.018, 0.07, 0.006)
    surround = max(
        block(x - 1.00, y - 0.80, z - 1.11, 0.335, 0.455, 0.022, 0.006),
        -block(x - 1.00, y - 0.80, z - 1.11, 0.30, 0.42, 0.3, 0.0),
    )
    bars = min(
        block(x - 1.00, y - 0.80, z - 1.15, 0.011, 0.42, 0.012, 0.0),
        block(x - 1.00, y - 0.86, z - 1.15, 0.30, 0.011, 0.012, 0.0),
    )
    frame = min(sill, min(surround, bars))
    if frame < best:
        best, m = frame, FRAME
    slab = block(x, y + 0.03, z + 0.4, 2.6, 0.03, 1.46, 0.01)
    if slab < best:
        best, m = slab, TABLE
    # a folded cloth under the bowl
    wx, wz = 0.94 * (x - 0.16) + 0.34 * (z + 0.05), -0.34 * (x - 0.16) + 0.94 * (z + 0.05)
    ripple = 0.004 * np.sin(21 * wx + 3 * np.sin(9 * wz))
    cloth = block(wx, y - 0.004 - ripple, wz, 0.40, 0.005, 0.26, 0.004) * 0.8
    if cloth < best:
        best, m = cloth, CLOTH
    # the bowl and its fruit
    bx, bz = x - 0.16, z - 0.02
    r = np.sqrt(bx * bx + bz * bz)
    if r > 0.52:
        best = min(best, r - 0.36)
    else:
        bowl = max(abs(ball(bx, y - 0.305, bz, 0.29)) - 0.007, y - 0.175)
        bowl = min(bowl, cone(bx, y, bz, 0.0, 0.11, 0.035, 0.085))
        rim = np.sqrt((r - 0.259) ** 2 + (y - 0.175) ** 2) - 0.0095
        bowl = min(bowl, rim)
        if bowl < best:
            best, m = bowl, BOWL
        pores = 0.0012 * (noise(x * 110, y * 110, z * 110) - 0.5)
        f = (
            min(ball(bx + 0.115, y - 0.165, bz + 0.03, 0.092), ball(bx - 0.045, y - 0.165, bz - 0.125, 0.09))
            + pores
        )
        if f < best:
            best, m = f * 0.9, ORANGE
        f = ball(bx - 0.105, y - 0.165, bz + 0.055, 0.083)
        dimple = ball(bx - 0.105, y - 0.256, bz + 0.055, 0.020)
        f = max(f, 0.004 - dimple)
        if f < best:
            best, m = f, APPLE
        stem = cone(bx - 0.105, y, bz + 0.055, 0.225, 0.0035, 0.275, 0.005)
        if stem < best:
            best, m = stem, STEM
        ux, uy = 0.85 * (bx - 0.00) + 0.52 * (bz + 0.0), y - 0.262
        uz = -0.52 * bx + 0.85 * bz
        f = egg(ux, uy, uz, 0.095, 0.063, 0.063)
        f = melt(f, egg(abs(ux) - 0.085, uy, uz, 0.022, 0.018, 0.018), 0.02) + pores
        if f < best:
            best, m = f * 0.9, LEMON
        f = ball(bx - 0.005, y - 0.160, bz + 0.150, 0.062)
        if f < best:
            best, m = f, LIME
    # a lemon that rolls on the table
    lx = 0.42 + 0.16 * t
    ux, uy, uz = x - lx, y - 0.060, z + 0.42
    f = egg(ux, uy, uz, 0.060, 0.060, 0.085)
    f = melt(f, egg(ux, uy, abs(uz) - 0.078, 0.016, 0.016, 0.022), 0.02) + 0.0012 * (
        noise(x * 110, y * 110, z * 110) - 0.5
    )
    if f * 0.9 < best:
        best, m = f * 0.9, LEMON
    # a jug
    jx, jz = x - 0.70, z - 0.42
    r = np.sqrt(jx * jx + jz * jz)
    if r > 0.45:
        best = min(best, r - 0.30)
    else:
        body = egg(jx, y - 0.17, jz, 0.15, 0.18, 0.15)
        body = melt(body, cone(jx, y, jz, 0.25, 0.085, 0.44, 0.085), 0.06)
        body = melt(body, cone(jx, y, jz, 0.0, 0.10, 0.03, 0.10), 0.03)
        body = max(body, -cone(jx, y, jz, 0.30, 0.070, 0.60, 0.075))
        lip = np.sqrt((r - 0.083) ** 2 + (y - 0.44) ** 2) - 0.010
        body = min(body, lip)
        hx = jx - 0.13
        ring = np.sqrt((np.sqrt(hx * hx + (y - 0.30) ** 2) - 0.085) ** 2 + jz * jz) - 0.016
        body = melt(body, ring, 0.02)
        if body < best:
            best, m = body, JUG
    # the lamp
    sway = 0.010 * np.sin(2.4 * t)
    px, pz = x - 0.34 - sway * (1.9 - y), z - 0.06
    r = np.sqrt(px * px + pz * pz)
    if r > 0.5:
        best = min(best, r - 0.34)
    else:
        profile = 0.045 + 0.22 * (1.0 - clip((y - 1.0) / 0.20, 0.0, 1.0) ** 0.75)
        shade = max(abs(r - profile) * 0.6 - 0.004, abs(y - 1.10) - 0.10)
        shade = min(shade, cone(px, y, pz, 1.19, 0.05, 1.24, 0.03))
        shade = min(shade, cone(px, y, pz, 1.2, 0.006, 2.6, 0.006))
        if shade < best:
            best, m = shade * 0.85, SHADE
        bulb = ball(px, y - 1.0, pz, 0.048)
        if bulb < best:
            best, m = bulb, BULB
    card = block(x + 0.66, y - 0.296, z - 0.55, 0.36, 0.296, 0.012, 0.004)
    if card < best:
        best, m = card, CARD
    return best, m


@njit
def surface(m, x, y, z, t):
    if m == BULB:
        return 0.2, 0.0, 1.0, 0.0, 14.0
    if m == WALL:
        return (
            0.86 + 0.22 * cloud(x * 3, y * 3, 1.0, 4) + 0.06 * noise(x * 60, y * 60, 5.0),
            0.0,
            1.0,
            0.0,
            0.0,
        )
    if m == TABLE:
        board = np.floor((z + 0.05) / 0.27)
        seam = step(abs((z + 0.05) / 0.27 - np.round((z + 0.05) / 0.27)), 0.003, 0.009)
        g = cloud(x * 2.0 + board * 5.3, z * 38, 2.0, 4)
        return (0.60 + 0.62 * g) * (0.4 + 0.6 * seam), 0.05, 30.0, 0.0, 0.0
    if m == BOWL:
        return 1.0, 0.20, 90.0, 0.05, 0.0
    if m == JUG:
        speck = 0.75 + 0.4 * cloud(x * 9, y * 22, z * 9, 3)
        return speck, 0.30, 110.0, 0.0, 0.0
    if m == APPLE:
        return 0.75 + 0.45 * noise(np.arctan2(x - 0.265, z + 0.035) * 14, y * 5, 3.0), 0.22, 70.0, 0.1, 0.0
    if m in (ORANGE, LEMON, LIME):
        return 0.92 + 0.14 * noise(x * 60, y * 60, z * 60), 0.10, 26.0, 0.2, 0.0
    if m == CLOTH:
        stripe = 1.0
        wx = 0.94 * (x - 0.16) + 0.34 * (z + 0.05)
        if abs(abs(wx) - 0.33) < 0.012 or abs(abs(wx) - 0.30) < 0.004:
            stripe = 0.25
        return stripe * (0.94 + 0.12 * noise(x * 260, 1.0, z * 260)), 0.0, 1.0, 0.1, 0.0
    if m == SHADE:
        return 1.0, 0.15, 40.0, 0.0, 0.0
    return 1.0, 0.03, 20.0, 0.0, 0.0


EYE, AIM, FOCAL = np.array([0.12, 0.78, -2.75]), np.array([0.12, 0.46, 0.6]), 1.72


def pictures(width, height, count, rays=40):
    """AP0 pictures of the shot, and where chart and ramp are."""
    sky = sky_of(
        seen(patch("orange"), AFTERGLOW) * 0.5,
        seen(patch("blue sky"), DUSK) * 0.75 + seen(patch("purplish blue"), DUSK) * 0.15,
        seen(patch("foliage"), DUSK) * 0.06,
        seen(FLAT, LAMP),
    )
    render = marcher(near, surface, sky, False)
    colours = table(MATERIALS, [LAMP, DUSK, LAMP, LAMP])
    lens, fill = np.array([FOCAL, 0.010, 2.85]), np.array([0.10, 0.13, 0.0])
    y, x = np.mgrid[0:height, 0:width] + 0.5
    for number in range(count):
        t = number / 3
        bulb = BULB_AT + np.array([0.009 * np.sin(2.4 * t), 0, 0])
        lights = np.array([[1, *bulb, 0.05, 1.25], [0, 0.62, 0.30, 0.75, 0.30, 0.14]])
        picture = render(
            height, width, 0, height, 0, width, EYE, AIM, lens, lights, fill, colours, t, rays, 0
        )
        lx, ly, _ = project(bulb, height, width, EYE, AIM, FOCAL)
        away = np.hypot(x - lx, y - ly) / height
        picture += seen(FLAT, LAMP) * (0.30 * np.exp(-away / 0.03) + 0.05 * np.exp(-away / 0.15))[..., None]
        yield chart(picture, (EYE, AIM, FOCAL), -1.02, 0.592, 0.72 / WIDE, 0.5379, LAMP, 0.62)
