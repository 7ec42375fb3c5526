"""The 24-patch chart and a grey ramp, painted on a card that faces the camera in a scene."""

import numpy as np
from spectra import FLAT, NAMES, patch, seen

GAP = 0.14  # between patches, in patches
WIDE, HIGH = 6 + 7 * GAP, 4.9 + 6 * GAP  # of the card, in patches
RAMP = [0.18 * 2 ** (0.6 * (k - 6)) for k in range(11)]  # reflectances, 0.6 stop apart


def project(point, height, width, eye, aim, focal):
    """Where a point of the scene falls in the picture: x, y in pixels, and its distance along the axis."""
    ahead = (aim - eye) / np.linalg.norm(aim - eye)
    right = np.array([ahead[2], 0, -ahead[0]]) / np.hypot(ahead[0], ahead[2])
    up = np.cross(ahead, right)
    d = np.asarray(point) - eye
    depth = d @ ahead
    return (
        0.5 * width + focal * height * (d @ right) / depth,
        0.5 * height - focal * height * (d @ up) / depth,
        depth,
    )


def on_plane(height, width, eye, aim, focal, z):
    """Scene x and y of each pixel's middle on the upright plane at z."""
    ahead = (aim - eye) / np.linalg.norm(aim - eye)
    right = np.array([ahead[2], 0, -ahead[0]]) / np.hypot(ahead[0], ahead[2])
    up = np.cross(ahead, right)
    rows, columns = np.mgrid[0:height, 0:width] + 0.5
    sx, sy = (columns - 0.5 * width) / height, (0.5 * height - rows) / height
    ray = sx[..., None] * right + sy[..., None] * up + focal * ahead
    reach = (z - eye[2]) / ray[..., 2]
    return eye[0] + reach * ray[..., 0], eye[1] + reach * ray[..., 1]


def chart(picture, camera, left, top, patch_size, z, illuminant, strength):
    """The picture with chart and ramp on the card whose corner is (left, top); and where each lies, with its AP0."""
    height, width, _ = picture.shape
    eye, aim, focal = camera
    x, y = on_plane(height, width, eye, aim, focal, z)
    pixel = abs(x[height // 2, width // 2 + 1] - x[height // 2, width // 2])

    def painted(picture, x0, y0, w, h, value):
        inside = np.minimum(np.minimum(x - x0, x0 + w - x), np.minimum(y0 - y, y - y0 + h))
        mask = np.clip(0.5 + inside / (1.2 * pixel), 0, 1)[..., None]
        return picture * (1 - mask) + value * mask

    def place(x0, y0, w, h, value):
        px, py, _ = project((x0 + w / 2, y0 - h / 2, z), height, width, eye, aim, focal)
        return {"x": int(px), "y": int(py), "ap0": [float(v) for v in value]}

    step, patches, ramp = patch_size * (1 + GAP), {}, []
    for k, name in enumerate(NAMES):
        x0, y0 = left + patch_size * GAP + (k % 6) * step, top - patch_size * GAP - (k // 6) * step
        value = seen(patch(name), illuminant) * strength
        picture = painted(picture, x0, y0, patch_size, patch_size, value)
        patches[name] = place(x0, y0, patch_size, patch_size, value)
    w, y0 = patch_size * (6 + 5 * GAP) / len(RAMP), top - patch_size * (4 + 5 * GAP)
    for k, reflectance in enumerate(RAMP):
        x0, value = left + patch_size * GAP + k * w, seen(FLAT * reflectance, illuminant) * strength
        picture = painted(picture, x0, y0, w, patch_size * 0.9, value)
        ramp.append(place(x0, y0, w, patch_size * 0.9, value))
    return picture, {"patches": patches, "ramp": ramp}
