"""Morning in the garden: chart and ramp, a test head for skin, a plant, and a ball that rolls by."""

import numpy as np
from chart import HIGH, WIDE, chart, project
from marcher import ball, block, clip, cloud, cone, egg, lattice, marcher, melt, njit, noise, step
from spectra import FLAT, MORNING, SKYLIGHT, patch, seen, table

TABLE, SKIN, HAIR, SHIRT, LIPS, BALL1, BALL2, CARD, POT, LEAF = range(10)
MATERIALS = [
    patch("dark skin") * 0.85 + patch("orange yellow") * 0.30,
    patch("light skin") * 1.0,
    patch("dark skin") * 0.30 + FLAT * 0.008,
    patch("white 9.5 (.05 D)") * 0.70,
    patch("moderate red") * 0.75 + patch("light skin") * 0.3,
    patch("orange yellow"),
    patch("blue") * 1.1,
    FLAT * 0.03,
    patch("orange") * 0.62,
    patch("foliage") * 1.1 + patch("yellow green") * 0.2,
    FLAT,
]
SUN = np.array([-0.62, 0.62, -0.48])
SUN /= np.linalg.norm(SUN)
BALL = 0.062  # its radius


@njit
def ball_at(t):
    return -0.62 + 1.2 * t


def sky_of(blue, white, leaf, bright, dark, bloom):
    """Towards a direction: cloud, and a hedge with sunlit glints and flowers, for the lens to blur."""

    @njit
    def sky(dx, dy, dz, t):
        az, el = np.arctan2(dx, dz), np.arcsin(clip(dy, -1.0, 1.0))
        out = np.empty(3)
        puff = step(cloud(az * 5 + 2, el * 11, 3.0, 5), 0.46, 0.66)
        depth = clip(el / 0.35, 0.0, 1.0)
        for k in range(3):
            sky_here = blue[k] * (1.35 - 0.55 * depth) + white[k] * 0.30 * (1 - depth)
            out[k] = (
                sky_here * (1 - 0.8 * puff)
                + white[k] * (0.72 + 0.28 * noise(az * 9, el * 20, 1.0)) * 0.8 * puff
            )
        top = 0.012 + 0.050 * cloud(az * 7 + 5, 0.0, 0.0, 4) + 0.085 * np.exp(-(((az - 0.30) / 0.11) ** 2))
        if el < top + 0.03 * (cloud(az * 60, el * 60, 2.0, 2) - 0.5):
            mass = cloud(az * 16, el * 16, 5.0, 4)
            fine = noise(az * 150, el * 150, 7.0)
            lit = 0.12 + 0.88 * step(mass + 0.9 * (el + 0.03), 0.36, 0.72)
            for k in range(3):
                c = dark[k] * (1 - lit) + leaf[k] * lit * (0.6 + 0.8 * fine)
                out[k] = c
            glint = lattice(
                int(np.floor((az + 0.004 * np.sin(el * 130)) * 170)),
                int(np.floor((el + 0.004 * np.sin(az * 110)) * 170)),
                11,
            )
            u, v = (
                (az + 0.004 * np.sin(el * 130)) * 170 - np.floor((az + 0.004 * np.sin(el * 130)) * 170) - 0.5,
                (el + 0.004 * np.sin(az * 110)) * 170 - np.floor((el + 0.004 * np.sin(az * 110)) * 170) - 0.5,
            )
            if u * u + v * v < 0.10:
                if glint > 0.93:
                    for k in range(3):
                        out[k] += bright[k] * 6.0 * lit
                elif glint < 0.014 and el < 0.08:
                    for k in range(3):
                        out[k] = bloom[k] * 2.2
        return out

    return sky


@njit
def near(x, y, z, t):
    best, m = 1e9, TABLE
    slab = block(x, y + 0.03, z + 0.6, 2.2, 0.03, 1.32, 0.012)
    best, m = slab, TABLE
    # the test head, turned a little to the chart
    px, pz = x - 0.47, z - 0.22
    aside = np.sqrt(px * px + pz * pz) - 0.34
    if aside > 0.15:
        best = min(best, aside)
    else:
        c, s = np.cos(0.42), np.sin(0.42)
        hx, hz = c * px - s * pz, s * px + c * pz
        hy = y - 0.43
        ax = abs(hx)
        head = egg(hx, hy - 0.035, hz - 0.012, 0.098, 0.118, 0.122)
        jaw = egg(hx, hy + 0.048, hz + 0.022, 0.072, 0.085, 0.085)
        face = melt(head, jaw, 0.06)
        face = melt(face, egg(ax - 0.045, hy + 0.022, hz + 0.078, 0.032, 0.026, 0.025), 0.03)
        socket = egg(ax - 0.038, hy - 0.012, hz + 0.122, 0.026, 0.017, 0.022)
        h = clip(0.5 - 0.5 * (face + socket) / 0.025, 0.0, 1.0)
        face = face * (1 - h) - socket * h + 0.025 * h * (1 - h)
        face = melt(face, egg(ax - 0.037, hy - 0.010, hz + 0.092, 0.019, 0.012, 0.014), 0.008)
        nose = egg(hx, hy + 0.008 + 0.28 * (hz + 0.11), hz + 0.116, 0.0125, 0.036, 0.020)
        nose = melt(nose, egg(ax - 0.010, hy + 0.032, hz + 0.118, 0.0095, 0.009, 0.012), 0.010)
        face = melt(face, nose, 0.014)
        face = melt(face, egg(hx, hy + 0.107, hz + 0.070, 0.024, 0.020, 0.022), 0.03)
        face = melt(face, egg(ax - 0.100, hy + 0.002, hz - 0.015, 0.010, 0.028, 0.018), 0.008)
        neck = cone(hx, hy, hz - 0.022, -0.24, 0.058, -0.04, 0.052)
        face = melt(face, neck, 0.03)
        face = melt(face, egg(hx, hy + 0.285, hz - 0.01, 0.15, 0.07, 0.075), 0.07)
        if face < best:
            best, m = face, SKIN
        lips = min(
            egg(hx, hy + 0.062, hz + 0.103, 0.024, 0.0062, 0.010),
            egg(hx, hy + 0.072, hz + 0.101, 0.020, 0.0075, 0.010),
        )
        if lips < best:
            best, m = lips, LIPS
        shirt = egg(hx, hy + 0.40, hz - 0.012, 0.205, 0.175, 0.105)
        shirt = max(shirt, -cone(hx, hy, hz + 0.055, -0.5, 0.02, -0.20, 0.095))
        if shirt < best:
            best, m = shirt, SHIRT
        hair = egg(hx, hy - 0.048, hz - 0.030, 0.112, 0.124, 0.126)
        hair = max(hair, (0.024 - 0.85 * (hz + 0.02) - hy) * 0.76)
        bun = ball(hx, hy - 0.055, hz - 0.160, 0.052)
        strands = 0.0018 * np.sin(140 * np.arctan2(hx, hy - 0.06))
        hair = melt(hair, bun, 0.02) + strands
        if hair < best:
            best, m = hair * 0.8, HAIR
    # a pot of leaves at the right edge
    qx, qz = x - 1.06, z - 0.28
    aside = np.sqrt(qx * qx + qz * qz) - 0.34
    if aside > 0.15:
        best = min(best, aside)
    else:
        pot = cone(qx, y, qz, 0.0, 0.095, 0.17, 0.13)
        pot = max(pot, -cone(qx, y, qz, 0.12, 0.10, 0.3, 0.115))
        pot = min(pot, max(abs(np.sqrt(qx * qx + qz * qz) - 0.133) - 0.012, abs(y - 0.165) - 0.018))
        if pot < best:
            best, m = pot, POT
        for k in range(15):
            a = 2.399963 * k
            lean = 0.35 + 0.75 * lattice(k, 3, 7)
            ca, sa = np.cos(a), np.sin(a)
            u = ca * qx + sa * qz
            w = -sa * qx + ca * qz
            v = y - 0.16
            length = 0.20 + 0.14 * lattice(k, 5, 9)
            cl, sl = np.cos(lean), np.sin(lean)
            along, across = sl * u + cl * v, cl * u - sl * v
            across += 1.1 * along * along
            leaf = egg(along - 0.5 * length, w, across, 0.5 * length, 0.034, 0.006)
            if leaf * 0.6 < best:
                best, m = leaf * 0.6, LEAF
    # the card behind the chart and the ramp: their shadows
    card = block(x + 0.50, y - 0.329, z - 0.10, 0.40, 0.329, 0.012, 0.004)
    if card < best:
        best, m = card, CARD
    # the ball
    bx = ball_at(t)
    rolled = ball(x - bx, y - BALL, z + 0.78, BALL)
    if rolled < best:
        a = np.arctan2(y - BALL, x - bx) + (bx / BALL)
        best, m = rolled, BALL1 if np.sin(3 * a) > 0 else BALL2
    return best, m


@njit
def surface(m, x, y, z, t):
    if m == TABLE:
        board = np.floor((z + 0.03) / 0.19)
        seam = step(abs((z + 0.03) / 0.19 - np.round((z + 0.03) / 0.19)), 0.004, 0.012)
        g = cloud(x * 2.2 + board * 5.3, z * 42, 2.0, 4)
        return (
            (0.62 + 0.62 * g + 0.22 * (lattice(int(board), 1, 2) - 0.5)) * (0.35 + 0.65 * seam),
            0.035,
            24.0,
            0.0,
            0.0,
        )
    if m == SKIN:
        return 0.97 + 0.06 * noise(x * 90, y * 90, z * 90), 0.030, 14.0, 0.22, 0.0
    if m == HAIR:
        return 0.8 + 0.5 * noise(x * 40, y * 200, z * 40), 0.07, 30.0, 0.0, 0.0
    if m == SHIRT:
        return 0.96 + 0.08 * noise(x * 300, y * 300, z * 300), 0.0, 1.0, 0.05, 0.0
    if m == LIPS:
        return 1.0, 0.06, 40.0, 0.2, 0.0
    if m in (BALL1, BALL2):
        return 1.0, 0.45, 120.0, 0.0, 0.0
    if m == LEAF:
        return 0.8 + 0.4 * noise(x * 30, y * 30, z * 30), 0.06, 30.0, 0.35, 0.0
    if m == POT:
        return 0.85 + 0.3 * cloud(x * 20, y * 20, z * 20, 2), 0.0, 1.0, 0.0, 0.0
    return 1.0, 0.0, 1.0, 0.0, 0.0


EYE, AIM, FOCAL = np.array([0.10, 0.58, -2.9]), np.array([0.10, 0.325, 0.1]), 2.05


def pictures(width, height, count, rays=48):
    """AP0 pictures of the shot, and where chart and ramp are. Only what the ball changes is drawn again."""
    leaf = seen(patch("foliage"), MORNING) * 0.75 + seen(patch("yellow green"), MORNING) * 0.25
    sky = sky_of(
        seen(patch("blue sky"), SKYLIGHT) * 2.2,
        seen(FLAT * 0.9, MORNING) * 1.5,
        leaf,
        seen(patch("yellow"), MORNING) * 0.35,
        seen(patch("foliage"), SKYLIGHT) * 0.16,
        seen(patch("magenta"), MORNING) * 0.5,
    )
    render = marcher(near, surface, sky, False)
    colours = table(MATERIALS, [MORNING, SKYLIGHT, MORNING])
    lens, fill = np.array([FOCAL, 0.020, 3.05]), np.array([0.42, 0.20, 0.0])
    lights = np.array([[0, *SUN, 0.035, 1.45]])

    def drawn(y0, y1, x0, x1, t):
        return render(height, width, y0, y1, x0, x1, EYE, AIM, lens, lights, fill, colours, t, rays, 0)

    empty = drawn(0, height, 0, width, -9.0)
    assert abs(HIGH * 0.80 / WIDE - 0.658) < 0.001
    for number in range(count):
        t = number / max(count - 1, 1)
        x, y, _ = project((ball_at(t), BALL, -0.78), height, width, EYE, AIM, FOCAL)
        x0, x1 = int(max(0, x - 0.14 * height)), int(min(width, x + 0.30 * height))
        y0, y1 = int(y - 0.14 * height), int(min(height, y + 0.14 * height))
        picture = empty.copy()
        picture[y0:y1, x0:x1] = drawn(y0, y1, x0, x1, t)
        yield chart(picture, (EYE, AIM, FOCAL), -0.90, 0.658, 0.80 / WIDE, 0.0879, MORNING, 1.0)
