"""A look baked for the kernel: grade curves, a saturation, a lattice, and where it holds light a curve after it.

The runner bakes, once; workers load the file. Tables are rounded, to multiples of 2^-20 or float32, and nothing
transcendental is left, so that every processor computes the same from them. The grade is evaluated ahead of the
lattice, so one lattice serves every clip of a show transform; where it cannot be (a grade in another space, or
after the show transform, or a white balance) it is inside the lattice.
"""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.pipelines import inside_folder
from rushlight.pipelines.colour.interpolation import tetrahedral
from rushlight.pipelines.errors import DeliveryError, OutsideError, from_os
from rushlight.pipelines.grading.display_transform import evaluated, row_length
from rushlight.pipelines.grading.lattice import Lattice, direct_of, lattice, lattice_kind, span
from rushlight.pipelines.grading.shaper import light_curve, on_curve

if TYPE_CHECKING:
    from rushlight.pipelines.colour.look import Look

__all__ = ["Baked", "bake", "lattice_digest", "load_baked", "regraded", "same_look"]

SCHEMA = "rushlight-baked-3"
LATTICES = 2  # one more whenever they are made otherwise: those that were kept by an earlier version are not taken then
LUMA = np.array([0.2126, 0.7152, 0.0722])  # ASC CDL v1.2
CURVE_POINTS = 4096
KEPT = 3  # lattices that a process keeps: the next card or list of a day has the show transform of the last
_kept: dict[str, Lattice] = {}  # by their names, the latest last


@dataclass(frozen=True, kw_only=True, eq=False)
class Baked:
    """A baked look: the tables that the kernel runs. `apply` is its plain evaluation and the kernel's judge."""

    lo: float  # the encoded signal that the curves span
    hi: float
    grade: NDArray[np.float32] | None  # (3, M): code -> graded code, piecewise linear over lo..hi
    saturation: float
    clamp: bool  # to 0..1 after the saturation
    shaper: NDArray[np.float32]  # (3, S): code -> lattice coordinate 0..N-1, piecewise linear
    shaper_lo: float
    shaper_hi: float
    # (N, N, N, 4): [r, g, b] display R'G'B' 0..1, or stretched light, and the share of `direct`.
    lattice: NDArray[np.float32]
    light: NDArray[np.float32] | None = None  # (K,): display signal at the `knots` of stretched light
    direct: NDArray[np.float32] | None = None  # a `direct_row`, where the lattice's fourth value is above 0
    digest: str

    @property
    def size(self) -> int:
        return int(self.lattice.shape[0])

    def apply(self, code: ArrayLike) -> NDArray[np.float64]:
        """Display R'G'B' (..., 3) of camera signal values (..., 3), float64; NaN is taken as the span's lower end."""
        position = self.position(code).reshape(-1, 3)
        found = tetrahedral(self.lattice.astype(np.float64), position)
        found, share = found[:, :3], found[:, 3:]
        if self.direct is not None:
            some = share[:, 0] > 0
            exact = evaluated(position[some], self.direct.astype(np.float64))
            found[some] += share[some] * (exact - found[some])
        if self.light is not None:
            found = on_curve(self.light.astype(np.float64), found)
        return found.reshape(np.shape(code))

    def position(self, code: ArrayLike) -> NDArray[np.float64]:
        """Lattice coordinates (..., 3), 0..N-1 inside, of camera signal values (..., 3), float64; NaN as `apply` takes it."""
        values = np.asarray(code, np.float64)
        values = np.where(np.isnan(values), self.lo, values)
        if self.grade is not None:
            values = _piecewise(values, self.grade, self.lo, self.hi)
            luma = values @ LUMA
            values = luma[..., None] + self.saturation * (values - luma[..., None])
            if self.clamp:
                values = np.clip(values, 0.0, 1.0)
        position = _piecewise(values, self.shaper, self.shaper_lo, self.shaper_hi)
        return np.clip(position, 0.0, self.size - 1)

    def save(self, folder: Path) -> str:
        """Write it into a folder as `<digest>.npz` and, once for all looks that share them, its large tables as .npy.

        Gives the name of the .npz. No pickle; complete files only.
        """
        name = f"{self.digest.partition(':')[2]}.npz"
        facts = {"schema": SCHEMA, "digest": self.digest, "clamp": self.clamp}
        for kind, table in (("lattice", self.lattice), ("direct", self.direct)):
            facts[kind] = "" if table is None else _shared(folder, kind, table)
        numbers = np.array([self.lo, self.hi, self.saturation, self.shaper_lo, self.shaper_hi], np.float64)
        arrays: dict[str, Any] = {"numbers": numbers, "shaper": self.shaper}
        arrays |= {k: v for k, v in (("grade", self.grade), ("light", self.light)) if v is not None}
        text = np.frombuffer(json.dumps(facts, sort_keys=True).encode(), np.uint8)
        _written(folder / name, lambda stream: np.savez(stream, facts=text, **arrays))
        return name


def _sha(array: NDArray[np.float32]) -> str:
    return hashlib.sha256(np.ascontiguousarray(array, "<f4").tobytes()).hexdigest()[:40]


def _shared(folder: Path, kind: str, table: NDArray[np.float32]) -> str:
    """The name of a table's file, which is written if it is not there as it should be."""
    path = folder / f"{_sha(table)}.{kind}.npy"
    _written(path, lambda stream: np.save(stream, table))
    return path.name


def _written(path: Path, write: Callable[[io.BytesIO], None]) -> None:
    """Write a file, unless it is there with these very bytes: one of its name alone may be damaged or another's."""
    whole = io.BytesIO()
    write(whole)  # numpy's own writing to a disk does not say why it fails
    with suppress(OSError, OutsideError):
        if inside_folder.read_bytes(path.parent, path.name) == whole.getbuffer():
            return
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        inside_folder.write(path.parent, path.name, whole.getvalue(), sync=True)
    except OSError as error:
        raise from_os(error, path) from None


def _piecewise(
    values: NDArray[np.float64], table: NDArray[np.float32], low: float, high: float
) -> NDArray[np.float64]:
    last = table.shape[1] - 1
    position = np.clip((values - low) * (last / (high - low)), 0.0, last)
    base = np.minimum(position.astype(np.intp), last - 1)
    fraction = position - base
    result = np.empty(values.shape)
    for k in range(3):
        row = table[k].astype(np.float64)
        result[..., k] = row[base[..., k]] + fraction[..., k] * (row[base[..., k] + 1] - row[base[..., k]])
    return result


def _table(folder: Path, name: str) -> NDArray[np.float32]:
    """A shared table. A header that claims more than the file has costs no memory: it is mapped ahead of being read."""
    path = inside_folder.path_of(folder, inside_folder.file_name(name))
    return np.array(np.load(path, mmap_mode="r", allow_pickle=False))


def load_baked(path: Path) -> Baked:
    """A baked look from its file. DeliveryError if it is damaged or of another schema, whatever that makes of its reading."""
    try:
        return _loaded(path)
    except (DeliveryError, MemoryError):
        raise
    except Exception as error:  # numpy, zipfile and json raise a dozen kinds, tokenize.TokenError and NotImplementedError among them
        raise DeliveryError(f"is no baked look that can be read: {error}", file=str(path)) from None


def _loaded(path: Path) -> Baked:
    with path.open("rb") as stream, np.load(stream, allow_pickle=False) as file:
        facts = json.loads(bytes(file["facts"]))
        lo, hi, saturation, shaper_lo, shaper_hi = (float(v) for v in file["numbers"])
        grade = file.get("grade", None)
        shaper, light = file["shaper"], file.get("light", None)
    values = _table(path.parent, facts["lattice"])
    direct = _table(path.parent, facts["direct"]) if facts.get("direct") else None
    if facts.get("schema") != SCHEMA:
        raise DeliveryError(
            f"is a look as another version of rushlight baked it ({facts.get('schema')!r}; this reads {SCHEMA});"
            " add the clip's list again, which bakes it anew",
            file=str(path),
        )
    baked = Baked(
        lo=lo,
        hi=hi,
        grade=grade,
        saturation=saturation,
        clamp=facts["clamp"],
        shaper=shaper,
        shaper_lo=shaper_lo,
        shaper_hi=shaper_hi,
        lattice=values,
        light=light,
        direct=direct,
        digest=facts["digest"],
    )
    if _digest(baked) != baked.digest:
        raise DeliveryError("is damaged: its numbers do not give its digest", file=str(path))
    if (0 if direct is None else len(direct)) != (row_length(baked.size) if values[..., 3].any() else 0):
        raise DeliveryError("is damaged: its direct evaluation is not of its lattice", file=str(path))
    return baked


def _rounded(values: NDArray[np.float64]) -> NDArray[np.float32]:
    return np.ascontiguousarray(np.round(values * 2.0**20) / 2.0**20, np.float32)


def _digest(baked: Baked) -> str:
    state = hashlib.sha256()
    numbers = [baked.lo, baked.hi, baked.saturation, float(baked.clamp), baked.shaper_lo, baked.shaper_hi]
    state.update(np.array(numbers, "<f8").tobytes())
    for array in (baked.grade, baked.shaper, baked.light, baked.direct):
        state.update(b"-" if array is None else np.ascontiguousarray(array, "<f4").tobytes())
    state.update(_sha(baked.lattice).encode())
    return f"sha256:{state.hexdigest()}"


def _grade_ahead(look: Look) -> bool:
    return look.grade_order == "before" and look.cdl_space == "log" and look.white_balance is None


def _lattice_look(look: Look, state: str) -> Look:
    """The part of a look that lies in the lattice: what cannot be evaluated ahead of it."""
    if state == "show" or _grade_ahead(look):
        return replace(look, exposure=0.0, white_balance=None, printer_points=None, cdl=None)
    return look


def lattice_digest(look: Look, state: str, size: int = 65) -> str:
    """Names the lattice of a look: equal for all clips that share its show transform."""
    inner = _lattice_look(look, state)
    text = json.dumps([SCHEMA, LATTICES, size, inner.digest(), lattice_kind(inner, size)], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def _lattice(name: str, inner: Look, size: int) -> Lattice:
    """The lattice of that name, made where the process has none of it any more. Several threads may be in here."""
    found = _kept.get(name) or lattice(inner, size)
    _kept.pop(name, None)
    _kept[name] = found
    for old in list(_kept)[:-KEPT]:
        _kept.pop(old, None)
    return found


def bake(
    look: Look, state: str = "graded", size: int = 65, lattices: dict[str, Lattice] | None = None
) -> Baked:
    """The look for the kernel. `lattices` holds those made so far by name, for the next clip of the show."""
    lo, hi = span(look)
    inner = _lattice_look(look, state)
    known, name = {} if lattices is None else lattices, lattice_digest(look, state, size)
    found = known[name] = known.get(name) or _lattice(name, inner, size)
    grade, saturation, clamp = _curves(look) if state == "graded" else (None, 1.0, False)
    values = np.zeros((*found.values.shape[:3], 4), np.float32)
    values[..., :3] = _rounded(found.values)
    direct = None
    if found.share is not None and found.share.any():
        values[..., 3] = found.share
        direct = direct_of(inner, found.places, size)
    baked = Baked(
        lo=lo,
        hi=hi,
        grade=grade,
        saturation=saturation,
        clamp=clamp,
        shaper=_rounded(found.places),
        shaper_lo=lo,
        shaper_hi=hi,
        lattice=values,
        light=_rounded(light_curve(look.display) if found.curve is None else found.curve)
        if found.light
        else None,
        direct=None if direct is None else direct.astype(np.float32),
        digest="",
    )
    return replace(baked, digest=_digest(baked))


def _curves(look: Look) -> tuple[NDArray[np.float32] | None, float, bool]:
    """Stages evaluated ahead of the lattice: three curves, a saturation, and whether to clamp after it."""
    if not _grade_ahead(look) or not (look.cdl or look.exposure or look.printer_points):
        return None, 1.0, False
    lo, hi = span(look)
    code = np.linspace(lo, hi, CURVE_POINTS)
    signal = look.correct(np.repeat(code[:, None], 3, 1))
    saturation, clamp = 1.0, False
    if look.cdl is not None:
        signal, saturation, clamp = look.cdl.sop(signal), look.cdl.saturation, look.cdl.clamp
    return _rounded(np.nan_to_num(signal.T, nan=lo, posinf=hi, neginf=lo)), saturation, clamp


def regraded(baked: Baked, look: Look) -> Baked | None:
    """`baked` under another grade, which `look` has; None where the grade lies inside the lattice.

    For measuring what a grade does: made in a millisecond, and without the digest of a look to be delivered.
    """
    if not _grade_ahead(look):
        return None
    grade, saturation, clamp = _curves(look)
    return replace(baked, grade=grade, saturation=saturation, clamp=clamp, digest="")


def same_look(one: Baked, other: Baked) -> bool:
    """True if two baked looks are of one look, though maybe by other versions of libraries, whose last digits differ.

    What lies ahead of the lattice is arithmetic of ours, and equal; the rest may differ by two ten-bit codes in the mean.
    """
    if one.digest == other.digest:
        return True
    if (one.lo, one.hi, one.saturation, one.clamp) != (other.lo, other.hi, other.saturation, other.clamp):
        return False
    if one.grade is None or other.grade is None:
        if one.grade is not other.grade:
            return False
    elif one.grade.shape != other.grade.shape or np.abs(one.grade - other.grade).max() > 1e-5:
        return False
    code = np.random.default_rng(65).uniform(one.lo, one.hi, (4096, 3))
    code[:1024] = np.linspace(one.lo, one.hi, 1024)[:, None]  # greys
    differences = np.abs(replace(one, grade=None).apply(code) - replace(other, grade=None).apply(code))
    return bool(differences[:1024].mean() < 0.002 and differences[1024:].mean() < 0.002)
