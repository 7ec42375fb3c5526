"""A small ray marcher over distance fields, in scene-linear light.

Area lights, sky light with occlusion, a thin lens, and one mirror bounce where a scene has water at y = 0. x is to the
right, y up, z away from the camera, in metres. The same picture on every run: its dice are made from pixel and seed.
"""

import numba as nb
import numpy as np

jit = nb.njit(inline="always", error_model="numpy")
njit = nb.njit(error_model="numpy")


@jit
def lattice(i, j, k):
    n = (i * 374761393 + j * 668265263 + k * 1274126177) & 0xFFFFFFFF
    n = ((n ^ (n >> 13)) * 1103515245) & 0xFFFFFFFF
    return ((n ^ (n >> 16)) & 0xFFFFFF) / 16777215.0


@njit
def noise(x, y, z):
    """Smooth value noise 0..1."""
    i, j, k = int(np.floor(x)), int(np.floor(y)), int(np.floor(z))
    u, v, w = x - i, y - j, z - k
    u, v, w = u * u * (3 - 2 * u), v * v * (3 - 2 * v), w * w * (3 - 2 * w)
    total = 0.0
    for a in range(2):
        for b in range(2):
            for c in range(2):
                weight = (u if a else 1 - u) * (v if b else 1 - v) * (w if c else 1 - w)
                total += weight * lattice(i + a, j + b, k + c)
    return total


@njit
def cloud(x, y, z, octaves):
    """Octaves of noise, 0..1."""
    total, weight = 0.0, 1.0
    for _ in range(octaves):
        total += weight * noise(x, y, z)
        x, y, z, weight = 2.03 * x + 7.1, 2.03 * y + 3.7, 2.03 * z + 1.3, 0.5 * weight
    return total / (2 - 2 * weight)


@jit
def clip(x, low, high):
    return low if x < low else high if x > high else x


@jit
def step(x, a, b):
    t = clip((x - a) / (b - a), 0.0, 1.0)
    return t * t * (3 - 2 * t)


@jit
def ball(x, y, z, r):
    return np.sqrt(x * x + y * y + z * z) - r


@jit
def egg(x, y, z, a, b, c):
    """An ellipsoid, near enough to its distance for marching."""
    k0 = np.sqrt((x / a) ** 2 + (y / b) ** 2 + (z / c) ** 2)
    k1 = np.sqrt((x / (a * a)) ** 2 + (y / (b * b)) ** 2 + (z / (c * c)) ** 2)
    return k0 * (k0 - 1.0) / max(k1, 1e-9)


@jit
def block(x, y, z, a, b, c, r):
    p, q, s = abs(x) - a + r, abs(y) - b + r, abs(z) - c + r
    outside = np.sqrt(max(p, 0.0) ** 2 + max(q, 0.0) ** 2 + max(s, 0.0) ** 2)
    return outside + min(max(p, max(q, s)), 0.0) - r


@jit
def cone(x, y, z, y0, r0, y1, r1):
    """An upright round cone from (y0, r0) to (y1, r1)."""
    t = clip((y - y0) / (y1 - y0), 0.0, 1.0)
    radial = np.sqrt(x * x + z * z) - (r0 + (r1 - r0) * t)
    beyond = max(y0 - y, y - y1)
    return 0.9 * (max(radial, beyond) if min(radial, beyond) < 0 else np.sqrt(radial**2 + beyond**2))


@jit
def melt(a, b, k):
    """Union with a soft seam of width k."""
    h = clip(0.5 + 0.5 * (b - a) / k, 0.0, 1.0)
    return b * (1 - h) + a * h - k * h * (1 - h)


def marcher(near, surface, sky, water):
    """A renderer of one scene.

    near(x, y, z, t) -> (distance, material); surface(material, x, y, z, t) -> (scale of the reflectance, gloss,
    shininess, wrap, emission); sky(dx, dy, dz, t) -> RGB. `water` puts a rippled mirror at y = 0.
    """

    @njit
    def march(ox, oy, oz, dx, dy, dz, t, far):
        reach = 0.01
        for _ in range(110):
            distance, material = near(ox + dx * reach, oy + dy * reach, oz + dz * reach, t)
            if distance < 0.0004 * (1 + reach):
                return reach, material
            reach += distance * 0.92
            if reach > far:
                break
        return far, -1

    @njit
    def occlusion(x, y, z, nx, ny, nz, t):
        lost, weight = 0.0, 1.0
        for k in range(1, 6):
            h = 0.012 * k * k
            lost += weight * (h - near(x + nx * h, y + ny * h, z + nz * h, t)[0])
            weight *= 0.72
        return clip(1 - 2.2 * lost, 0.0, 1.0)

    @njit
    def normal(x, y, z, t):
        e = 0.0006
        nx = near(x + e, y, z, t)[0] - near(x - e, y, z, t)[0]
        ny = near(x, y + e, z, t)[0] - near(x, y - e, z, t)[0]
        nz = near(x, y, z + e, t)[0] - near(x, y, z - e, t)[0]
        n = max(np.sqrt(nx * nx + ny * ny + nz * nz), 1e-12)
        return nx / n, ny / n, nz / n

    @njit
    def wave(x, z, t):
        return cloud(x * 0.55, z * 1.5, 1.1 * t, 3) + 0.30 * cloud(x * 3.1 + 9, z * 6.0, 2.2 * t, 2)

    @nb.njit(error_model="numpy", parallel=True)
    def render(height, width, y0, y1, x0, x1, eye, aim, lens, lights, fill, colours, t, rays, seed):
        """RGB of the window [y0:y1, x0:x1]. lens: focal length over picture height, aperture radius, focus distance.
        lights: rows of (is a lamp, x, y, z, size, strength); fill: strength of sky light and of light from below."""
        out = np.zeros((y1 - y0, x1 - x0, 3))
        fx, fy, fz = aim - eye
        n = np.sqrt(fx * fx + fy * fy + fz * fz)
        fx, fy, fz = fx / n, fy / n, fz / n
        n = np.sqrt(fx * fx + fz * fz)
        rx, rz = fz / n, -fx / n
        ux, uy, uz = fy * rz, fz * rx - fx * rz, -fy * rx
        for row in nb.prange(y0, y1):
            for column in range(x0, x1):
                state = (row * 7919 + column * 104729 + seed * 15485863 + 1) & 0xFFFFFFFF
                red, green, blue = 0.0, 0.0, 0.0
                for ray in range(rays):
                    dice = np.empty(8)
                    for k in range(8):
                        state = (state * 1664525 + 1013904223) & 0xFFFFFFFF
                        mixed = ((state ^ (state >> 15)) * 2246822519) & 0xFFFFFFFF
                        dice[k] = ((mixed ^ (mixed >> 13)) & 0xFFFFFF) / 16777216.0
                    sx = (column + (ray + dice[0]) / rays - 0.5 * width) / height
                    sy = (0.5 * height - row - dice[1]) / height
                    dx = sx * rx + sy * ux + lens[0] * fx
                    dy = sy * uy + lens[0] * fy
                    dz = sx * rz + sy * uz + lens[0] * fz
                    focus = lens[2] / lens[0]
                    angle, radius = 6.2831853 * dice[2], lens[1] * np.sqrt(dice[3])
                    shift_x, shift_y = radius * np.cos(angle), radius * np.sin(angle)
                    lx, ly, lz = shift_x * rx + shift_y * ux, shift_y * uy, shift_x * rz + shift_y * uz
                    dx, dy, dz = dx * focus - lx, dy * focus - ly, dz * focus - lz
                    ox, oy, oz = eye[0] + lx, eye[1] + ly, eye[2] + lz
                    n = np.sqrt(dx * dx + dy * dy + dz * dz)
                    dx, dy, dz = dx / n, dy / n, dz / n
                    carried = 1.0
                    for bounce in range(2):
                        far = 60.0
                        surface_at = -oy / dy if water and dy < -1e-5 else 1e9
                        reach, material = march(ox, oy, oz, dx, dy, dz, t, min(far, surface_at))
                        if material < 0:
                            if surface_at < 1e8 and bounce == 0:
                                ox, oz = ox + dx * surface_at, oz + dz * surface_at
                                e = 0.02 + 0.002 * surface_at
                                calm = 0.115 / (1 + 0.030 * surface_at)
                                here = wave(ox, oz, t)
                                nx = calm * (here - wave(ox + e, oz, t)) / e * 0.8
                                nz = calm * (here - wave(ox, oz + e, t)) / e * 0.8
                                ny = 1 / np.sqrt(1 + nx * nx + nz * nz)
                                nx, nz = nx * ny, nz * ny
                                along = dx * nx + dy * ny + dz * nz
                                mirrored = 0.03 + 0.97 * (1 - clip(-along, 0.0, 1.0)) ** 4
                                deep = (1 - mirrored) * fill[2]
                                red += deep * colours[0, -2, 0]
                                green += deep * colours[0, -2, 1]
                                blue += deep * colours[0, -2, 2]
                                dx, dy, dz = (
                                    dx - 2 * along * nx,
                                    abs(dy - 2 * along * ny),
                                    dz - 2 * along * nz,
                                )
                                oy = 0.0
                                carried = mirrored * 0.92
                                continue
                            above = sky(dx, dy, dz, t)
                            red += carried * above[0]
                            green += carried * above[1]
                            blue += carried * above[2]
                            break
                        px, py, pz = ox + dx * reach, oy + dy * reach, oz + dz * reach
                        nx, ny, nz = normal(px, py, pz, t)
                        scale, gloss, shine, wrap, glow = surface(material, px, py, pz, t)
                        for k in range(lights.shape[0]):
                            lx, ly, lz = lights[k, 1], lights[k, 2], lights[k, 3]
                            spread = lights[k, 4]
                            ca, cr = 6.2831853 * dice[4], np.sqrt(dice[5])
                            jx, jy, jz = (
                                spread * cr * np.cos(ca),
                                spread * (2 * dice[6] - 1),
                                spread * cr * np.sin(ca),
                            )
                            if lights[k, 0] > 0:
                                lx, ly, lz = lx + jx - px, ly + jy - py, lz + jz - pz
                                distance = np.sqrt(lx * lx + ly * ly + lz * lz)
                                strength = lights[k, 5] / (distance * distance + 0.02)
                            else:
                                lx, ly, lz, distance = lx + jx, ly + jy, lz + jz, 60.0
                                strength = lights[k, 5]
                            n = np.sqrt(lx * lx + ly * ly + lz * lz)
                            lx, ly, lz = lx / n, ly / n, lz / n
                            facing = clip((nx * lx + ny * ly + nz * lz + wrap) / (1 + wrap), 0.0, 1.0)
                            if facing <= 0:
                                continue
                            start = 0.006
                            blocked = march(
                                px + nx * start,
                                py + ny * start,
                                pz + nz * start,
                                lx,
                                ly,
                                lz,
                                t,
                                distance - 0.02,
                            )[1]
                            if blocked >= 0 and surface(blocked, px, py, pz, t)[4] <= 0:
                                continue
                            hx, hy, hz = lx - dx, ly - dy, lz - dz
                            n = np.sqrt(hx * hx + hy * hy + hz * hz)
                            spark = gloss * max(0.0, (nx * hx + ny * hy + nz * hz) / n) ** shine
                            diffuse = strength * facing * scale
                            red += carried * (
                                diffuse * colours[material, k, 0] + strength * spark * colours[-1, k, 0]
                            )
                            green += carried * (
                                diffuse * colours[material, k, 1] + strength * spark * colours[-1, k, 1]
                            )
                            blue += carried * (
                                diffuse * colours[material, k, 2] + strength * spark * colours[-1, k, 2]
                            )
                        open_ = occlusion(px, py, pz, nx, ny, nz, t) * carried * scale
                        up, down = open_ * fill[0] * (0.5 + 0.5 * ny), open_ * fill[1] * (0.5 - 0.5 * ny)
                        edge = gloss * 0.6 * fill[0] * carried * (1 - abs(nx * dx + ny * dy + nz * dz)) ** 4
                        k = lights.shape[0]
                        red += (
                            up * colours[material, k, 0]
                            + down * colours[material, k + 1, 0]
                            + edge * colours[-1, k, 0]
                        )
                        green += (
                            up * colours[material, k, 1]
                            + down * colours[material, k + 1, 1]
                            + edge * colours[-1, k, 1]
                        )
                        blue += (
                            up * colours[material, k, 2]
                            + down * colours[material, k + 1, 2]
                            + edge * colours[-1, k, 2]
                        )
                        red += carried * glow * colours[-1, 0, 0]
                        green += carried * glow * colours[-1, 0, 1]
                        blue += carried * glow * colours[-1, 0, 2]
                        break
                out[row - y0, column - x0, 0] = red / rays
                out[row - y0, column - x0, 1] = green / rays
                out[row - y0, column - x0, 2] = blue / rays
        return out

    return render
