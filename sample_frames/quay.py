"""Dusk on the quay: afterglow over the hills, a boat coming in, someone waiting under the lamp."""

import numpy as np
from chart import project
from marcher import ball, block, clip, cloud, cone, egg, lattice, marcher, melt, njit, noise, step
from spectra import AFTERGLOW, DUSK, FLAT, LAMP, light, patch, seen, table

WATER_BODY, WOOD, IRON, COAT, SKIN, CAP, HULL, CABIN, GLASS, LANTERN, SCARF = range(11)
MATERIALS = [
    patch("cyan") * 0.35 + patch("green") * 0.1,
    patch("dark skin") * 0.9,
    FLAT * 0.045,
    patch("blue") * 0.85 + FLAT * 0.02,
    patch("light skin"),
    patch("purple") * 0.6,
    patch("red") * 0.75,
    patch("white 9.5 (.05 D)") * 0.75,
    FLAT * 0.5,
    FLAT * 0.8,
    patch("orange yellow"),
    FLAT,
]
LAMP_AT = np.array([2.75, 3.62, 10.4])


@njit
def flicker(t):
    return 1 + 0.03 * np.sin(19 * t) + 0.02 * np.sin(47 * t)


def sky_of(band, rose, zenith, far_hill, near_hill, lamp):
    """The sky towards a direction: glow, cloud lit from below, two rows of hills, lights on the far shore."""

    @njit
    def sky(dx, dy, dz, t):
        az = np.arctan2(dx, dz)
        e = max(dy, 0.0)
        toward = np.exp(-(((az + 0.33) / 0.42) ** 2))
        low = np.exp(-e / 0.075)
        mid = np.exp(-((e / 0.26) ** 2))
        out = np.empty(3)
        veil = cloud(az * 3.2 + 11 + 0.02 * t, e * 17, 4.0, 5)
        streak = step(veil, 0.50, 0.66) * np.exp(-(((e - 0.17) / 0.11) ** 2))
        thin = step(cloud(az * 5 - 0.03 * t, e * 34, 9.0, 4), 0.50, 0.72) * np.exp(
            -(((e - 0.085) / 0.05) ** 2)
        )
        lit = np.exp(-(((e - 0.08) / 0.13) ** 2))
        for k in range(3):
            c = zenith[k] * (0.34 + 0.55 * mid)
            c += rose[k] * 0.30 * mid * (0.25 + 0.75 * toward)
            c += band[k] * low * (0.22 + 1.65 * toward)
            under = band[k] * (0.30 + 0.95 * toward) * lit + rose[k] * 0.45 + zenith[k] * 0.12
            c = c * (1 - 0.80 * streak) + under * 0.80 * streak
            c = c * (1 - 0.55 * thin) + (band[k] * (0.25 + 0.9 * toward) + rose[k] * 0.25) * 0.55 * thin
            out[k] = c
        ridge = 0.020 + 0.050 * cloud(az * 4.2 + 3, 0.5, 0.5, 5) + 0.035 * np.exp(-(((az - 0.42) / 0.2) ** 2))
        near_ridge = (
            0.002
            + 0.042 * cloud(az * 6.5 + 31, 1.5, 2.5, 5) * step(az, -0.35, 0.25)
            + 0.010 * cloud(az * 90, 0.0, 0.0, 2) * step(az, -0.3, 0.2)
        )
        a = 1 - step(dy, ridge - 0.0012, ridge + 0.0012)
        b = 1 - step(dy, near_ridge - 0.0012, near_ridge + 0.0012)
        haze = np.exp(-e / 0.03)
        for k in range(3):
            h = far_hill[k] + (band[k] * (0.10 + 0.22 * toward) + rose[k] * 0.10) * haze
            out[k] = out[k] * (1 - a) + h * a
            out[k] = out[k] * (1 - b) + (near_hill[k] + rose[k] * 0.018 * haze) * b
        for k in range(7):
            la = -0.02 + 0.058 * k + 0.02 * np.sin(9.0 * k)
            le = 0.0045 + 0.006 * (0.5 + 0.5 * np.sin(5.0 * k))
            d = ((az - la) ** 2 + (dy - le) ** 2) / (0.0016**2)
            if d < 20:
                s = 2.6 * np.exp(-d) * (0.6 + 0.4 * np.sin(3 * k + 11 * t))
                for c in range(3):
                    out[c] += s * lamp[c]
        return out

    return sky


@njit
def near(x, y, z, t):
    best, m = 1e9, -1
    # the jetty: deck, gaps between planks, piles
    deck = block(x - 3.0, y - 0.62, z - 7.4, 1.75, 0.07, 5.4, 0.01)
    gap = abs(z - np.round(z / 0.235) * 0.235) - 0.108
    if deck < 0.4:
        deck = max(deck, gap)
    best, m = deck, WOOD
    zz = clip(np.round((z - 3.0) / 2.4), 0.0, 4.0) * 2.4 + 3.0
    for side in range(2):
        sx = 1.42 if side == 0 else 4.58
        p = cone(x - sx, y, z - zz - 0.25, -1.0, 0.12, 0.98, 0.105)
        if p < best:
            best, m = p, WOOD
    # lamp post
    post = cone(x - 2.75, y, z - 10.4, 0.6, 0.055, 3.3, 0.04)
    post = min(post, cone(x - 2.75, y, z - 10.4, 0.6, 0.13, 0.85, 0.09))
    post = min(post, cone(x - 2.75, y, z - 10.4, 3.30, 0.10, 3.36, 0.12))
    post = min(post, cone(x - 2.75, y, z - 10.4, 3.86, 0.20, 4.02, 0.03))
    if post < best:
        best, m = post, IRON
    bulb = ball(x - 2.75, (y - 3.62) * 0.75, z - 10.4, 0.115) * 0.9
    if bulb < best:
        best, m = bulb, LANTERN
    # figure, looking out over the water
    fx, fy, fz = x - 1.92, y - 0.69, z - 9.3
    sway = 0.012 * np.sin(2.2 * t) * fy
    fx -= sway
    aside = np.sqrt(fx * fx + fz * fz) - 0.5
    if aside > 0.3:
        best = min(best, aside)
    else:
        coat = cone(fx, fy, fz * 1.15, 0.34, 0.29, 1.30, 0.165)
        coat = melt(coat, egg(fx, fy - 1.33, fz, 0.215, 0.13, 0.14), 0.12)
        arm = cone(fx + 0.235 - 0.06 * (fy - 1.0), fy, fz + 0.02, 0.72, 0.055, 1.33, 0.075)
        arm = min(arm, cone(fx - 0.235 + 0.06 * (fy - 1.0), fy, fz + 0.02, 0.72, 0.055, 1.33, 0.075))
        coat = melt(coat, arm, 0.05)
        fold = 0.012 * np.sin(11 * np.arctan2(fz, fx) + 3 * fy) * step(1.1 - fy, 0.0, 0.8)
        coat = (coat + fold) * 0.85
        if coat < best:
            best, m = coat, COAT
        legs = min(
            cone(fx + 0.085, fy, fz, 0.0, 0.065, 0.5, 0.08), cone(fx - 0.085, fy, fz, 0.0, 0.065, 0.5, 0.08)
        )
        if legs < best:
            best, m = legs, IRON
        scarf = egg(fx, fy - 1.455, fz, 0.115, 0.06, 0.11)
        if scarf < best:
            best, m = scarf, SCARF
        head = egg(fx, fy - 1.605, fz, 0.088, 0.122, 0.105)
        head = melt(head, cone(fx, fy, fz, 1.4, 0.055, 1.55, 0.05), 0.03)
        if head < best:
            best, m = head, SKIN
        cap = max(egg(fx, fy - 1.635, fz, 0.108, 0.118, 0.122), 1.625 - fy)
        cap = min(cap, ball(fx, fy - 1.765, fz, 0.038))
        if cap < best:
            best, m = cap, CAP
    # boat
    bx, bz = x + 7.4 - 2.1 * t, z - 24.5
    by = y - 0.05 * np.sin(3.0 * t)
    aside = np.sqrt(bx * bx + bz * bz) - 3.1
    if aside > 0.6:
        best = min(best, aside)
    else:
        roll = 0.02 * np.sin(3.4 * t)
        by = by + roll * bx
        sheer = 0.72 + 0.035 * (bx * 0.55) ** 2
        hull = max(egg(bx, by - 0.62, bz, 2.9, 0.95, 0.95), by - sheer)
        hull = max(hull, -(egg(bx, by - 0.85, bz, 2.7, 0.5, 0.8)))
        if hull < best:
            best, m = hull, HULL
        cabin = block(bx + 0.7, by - 1.12, bz, 0.85, 0.52, 0.58, 0.06)
        cabin = min(cabin, block(bx + 0.7, by - 1.67, bz, 0.98, 0.035, 0.70, 0.02))
        if cabin < best:
            best, m = cabin, CABIN
        glass = block(abs(bx + 0.7) - 0.40, by - 1.30, bz, 0.24, 0.17, 0.60, 0.01)
        if glass < best:
            best, m = glass, GLASS
        mast = cone(bx - 0.75, by, bz, 0.6, 0.05, 4.1, 0.03)
        boom = block(bx - 0.05, by - 2.05, bz, 0.8, 0.025, 0.025, 0.01)
        mast = min(mast, boom)
        if mast < best:
            best, m = mast, WOOD
    return best, m


@njit
def surface(m, x, y, z, t):
    if m == LANTERN:
        return 0.2, 0.0, 1.0, 0.0, 15.0 * flicker(t)
    if m == GLASS:
        return 0.3, 0.0, 1.0, 0.0, 2.2
    if m == WOOD:
        plank = np.floor(z / 0.235)
        g = cloud(x * 1.3 + plank * 7.7, y * 3, z * 30, 3)
        return 0.55 + 0.5 * g + 0.35 * (lattice(int(plank), 3, 5) - 0.5), 0.05, 12.0, 0.0, 0.0
    if m == COAT:
        return 0.8 + 0.4 * noise(x * 60, y * 60, z * 60), 0.01, 8.0, 0.0, 0.0
    if m == SKIN:
        return 1.0, 0.02, 16.0, 0.25, 0.0
    if m == HULL:
        return 1.0 if y > 0.30 else 0.35, 0.05, 20.0, 0.0, 0.0
    return 1.0, 0.03, 20.0, 0.0, 0.0


EYE, AIM, FOCAL = np.array([0.0, 2.0, 0.0]), np.array([0.0, 2.35, 10.0]), 1.85


def pictures(width, height, count, rays=10):
    """AP0 pictures of the shot, and no chart."""
    band = seen(patch("orange"), light(None, 3300)) * 1.6 + seen(patch("light skin"), light(None, 4000)) * 0.6
    rose = (
        seen(patch("light skin"), light(None, 4600)) * 0.75
        + seen(patch("moderate red"), light(None, 5200)) * 0.25
    )
    zenith = seen(patch("blue sky"), DUSK) + seen(patch("cyan"), DUSK) * 0.25
    far_hill = seen(patch("purplish blue"), DUSK) * 0.18 + seen(patch("blue flower"), DUSK) * 0.10
    near_hill = seen(patch("foliage"), DUSK) * 0.14 + seen(patch("purplish blue"), DUSK) * 0.05
    lamplight = seen(FLAT, LAMP)
    render = marcher(near, surface, sky_of(band, rose, zenith, far_hill, near_hill, lamplight), True)
    colours = table(MATERIALS, [LAMP, AFTERGLOW, DUSK, AFTERGLOW])
    lens = np.array([FOCAL, 0.004, 11.0])
    y, x = np.mgrid[0:height, 0:width] + 0.5
    lx, ly, _ = project(LAMP_AT, height, width, EYE, AIM, FOCAL)
    away = np.hypot(x - lx, y - ly) / height
    halo = 0.9 * np.exp(-away / 0.022) + 0.14 * np.exp(-away / 0.12)
    corners = 1 - 0.11 * (((2 * x / width - 1) ** 2) + (2 * y / height - 1) ** 2)
    for number in range(count):
        t = number / max(count - 1, 1)
        lamp = flicker(t)
        lights = np.array([[1, *LAMP_AT, 0.10, 9.0 * lamp], [0, -0.45, 0.22, 1.0, 0.25, 0.30]])
        fill = np.array([0.20, 0.04, 0.16])
        picture = render(
            height, width, 0, height, 0, width, EYE, AIM, lens, lights, fill, colours, t, rays, number
        )
        yield (picture + lamplight * (halo * lamp)[..., None]) * corners[..., None], {}
