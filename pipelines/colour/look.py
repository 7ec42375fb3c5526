"""A look: all layers in order, what they do to a signal, and what they are called.

    camera signal -> exposure, white balance (scene-linear) -> printer points -> ASC CDL -> show LUT or
    standard transform -> display R'G'B'

The grade may instead sit after the show transform. Evaluation is exact: float64, but for OpenColorIO's own
float32 in the ACES 2.0 transform.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.pipelines.colour.camera_encodings import Encoding, Levels, find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import (
    ACES_CONFIG,
    Display,
    converted,
    find_display,
    output_transform,
)
from rushlight.pipelines.colour.gamuts import D65, adaptation
from rushlight.pipelines.colour.interpolation import Interpolation
from rushlight.pipelines.errors import GradeError

__all__ = ["Look", "ShowLut", "State", "to_working", "working_encoding"]

State = Literal["log", "show", "graded"]
Array = NDArray[np.float64]
RECORDED = "Rec.709 BT.1886"  # the display that a camera's finished video is made for
POINTS_A_STOP = 12  # one printer point is 0.025 log10 exposure: common practice, no source


class LutOfAnyKind(Protocol):
    """A LUT as a look takes it; of which kinds there are, the room `luts` knows."""

    @property
    def size(self) -> int: ...
    @property
    def interpolation(self) -> Interpolation | None:
        """That the file states, which holds whatever is asked for."""
        ...

    def apply(self, rgb: ArrayLike, interpolation: Interpolation) -> Array: ...
    def digest(self) -> str: ...
    def labels(self) -> list[str]:
        """What it does, in order, in words; empty for a lattice alone."""
        ...


@dataclass(frozen=True, kw_only=True, eq=False)
class ShowLut:
    """A show LUT, and how its file's numbers are to be taken: the levels and spaces that it was made for."""

    name: str
    lut: LutOfAnyKind
    interpolation: Interpolation = "tetrahedral"
    input_levels: Levels = "full"
    output_levels: Levels = "full"
    encoding: Encoding | None = None  # of its input, where that is not the signal's own
    display: Display | None = None  # for which its output is, where that is not the look's
    scene: Encoding | None = (
        None  # of its output, where that is for no display: the look's transform shows it
    )
    contains_grade: bool = False

    def apply(self, signal: ArrayLike) -> Array:
        """R'G'B' (..., 3) as the LUT gives it of a log signal (..., 3) in its own input space."""
        values = self.levelled(np.asarray(signal, np.float64))
        return self.given(self.lut.apply(values, self.interpolation))

    def levelled(self, signal: Array) -> Array:
        """A signal at the levels that the LUT takes."""
        return (signal * 876 + 64) / 1023 if self.input_levels == "narrow" else signal

    def given(self, values: Array) -> Array:
        """R'G'B' of what the LUT gives, which is at its output levels."""
        return (values * 1023 - 64) / 876 if self.output_levels == "narrow" else values


def working_encoding(encoding: Encoding) -> Encoding:
    """The encoding that grades and lattices work in: the camera's own, or ACEScct for scene-linear originals."""
    return find_encoding("ACEScct") if encoding.kind == "linear" else encoding


def to_working(linear: ArrayLike, encoding: Encoding) -> NDArray[np.float32]:
    """Scene-linear RGB (..., 3) of `encoding` as ACEScct, float32. NaN and -inf become ACEScct of 0, +inf of 65504."""
    values = np.asarray(linear, np.float64)
    if not np.isfinite(values).all():
        values = np.nan_to_num(values, nan=0.0, posinf=65504.0, neginf=0.0)
    return working_encoding(encoding).from_ap0(values @ encoding.matrix_to_ap0.T).astype(np.float32)


@dataclass(frozen=True, kw_only=True, eq=False)
class Look:
    """The look of one clip: every layer from its log signal to the display. GradeError where layers
    contradict each other."""

    encoding: Encoding
    display: Display
    exposure: float = 0.0  # stops
    white_balance: tuple[float, float] | None = None  # CIE xy of the scene's white, adapted to D65
    printer_points: tuple[float, float, float] | None = None
    cdl: CDL | None = None
    cdl_space: Literal["log", "ACEScct"] = "log"
    show_lut: ShowLut | None = None
    transform: Literal["aces2", "colorimetric", "none"] = "aces2"
    grade_order: Literal["before", "after"] = "before"

    def __post_init__(self) -> None:
        if self.show_lut and self.show_lut.contains_grade and self.cdl:
            raise GradeError(
                f"show LUT {self.show_lut.name!r} is stated to contain the grade; a CDL on top would grade twice",
                key="lut",
            )
        if self.grade_order == "after" and self.cdl_space != "log":
            raise GradeError(
                f"a grade after the show transform cannot be in {self.cdl_space}", key="grade_space"
            )
        if self.show_lut and self.show_lut.display and self.show_lut.display.hdr != self.display.hdr:
            raise GradeError(
                f"show LUT {self.show_lut.name!r} gives {self.show_lut.display.name}, and the display is "
                f"{self.display.name}: no conversion is defined between SDR and HDR",
                key="lut_output",
            )
        if self.show_lut and self.show_lut.scene and self.transform == "none":
            raise GradeError(
                f"LUT {self.show_lut.name!r} gives {self.show_lut.scene.name}, which is for no display, and the look has no "
                'transform; transform = "aces2" shows it',
                key="lut_output",
            )

        finished = self.encoding.kind == "video" and self.transform == "none" and not self.show_lut
        if finished and self.display.hdr:
            raise GradeError(
                f"{self.encoding.name} is finished for SDR, and the display is {self.display.name}: no conversion is "
                "defined between SDR and HDR",
                key="display",
            )

    @property
    def working(self) -> Encoding:
        return working_encoding(self.encoding)

    def correct(self, code: ArrayLike) -> Array:
        """Exposure, white balance and printer points: the signal that the grade sees. NaN stays NaN.

        A card of the stated white, as a camera set to D65 sees it, comes out neutral; D65 changes nothing.
        """
        signal = np.asarray(code, np.float64)
        working = self.working
        if self.exposure or self.white_balance:
            linear = working.decode(signal) * 2.0**self.exposure
            if self.white_balance:
                with np.errstate(invalid="ignore", over="ignore"):
                    linear = linear @ self._white_matrix(self.white_balance).T
            signal = working.encode(linear)
        if self.printer_points:
            signal = signal + np.array(self.printer_points) * self.printer_step
        return signal

    def _white_matrix(self, white: tuple[float, float]) -> Array:
        """The white balance over linear RGB of the working gamut (3, 3)."""
        to_xyz = adaptation(self.working.gamut.white, D65, "CAT02") @ self.working.gamut.to_xyz()
        return np.asarray(np.linalg.solve(to_xyz, adaptation(white, D65, "CAT02") @ to_xyz), np.float64)

    def correction_in_aces(self) -> Array:
        """Exposure and white balance as a matrix (3, 3) over ACES2065-1; identity without."""
        if not self.white_balance:
            return np.eye(3) * 2.0**self.exposure
        to_ap0 = self.working.matrix_to_ap0
        return 2.0**self.exposure * (to_ap0 @ self._white_matrix(self.white_balance) @ np.linalg.inv(to_ap0))

    @property
    def printer_step(self) -> float:
        """Code values of one printer point: a twelfth of a stop on the curve at 18 % grey."""
        low, high = self.working.encode(np.array([0.18, 0.18 * 2 ** (1 / POINTS_A_STOP)]))
        return float(high - low)

    def graded(self, signal: ArrayLike) -> Array:
        """The signal (..., 3) after the grade, where the grade sits before the show transform."""
        values = np.asarray(signal, np.float64)
        if self.cdl is None:
            return values
        if self.cdl_space == "log" or self.working.curve == "ACEScct":
            return self.cdl.apply(values)
        cct = find_encoding("ACEScct")
        return self.working.from_ap0(cct.to_ap0(self.cdl.apply(cct.from_ap0(self.working.to_ap0(values)))))

    def shown(self, signal: ArrayLike) -> Array:
        """Display R'G'B' (..., 3), clipped to 0..1, of a signal: the show LUT or standard transform alone.

        A LUT made for another encoding gets the signal in that one; one made for another display is shown in its light.
        So is finished video without a transform: it was made for Rec.709.
        """
        values = np.asarray(signal, np.float64)
        if self.show_lut:
            if self.show_lut.encoding:
                values = self.show_lut.encoding.from_ap0(self.working.to_ap0(values))
            return self._on_display(self.show_lut.apply(values))
        if self.transform != "none":
            return output_transform(self.working.to_ap0(values), self.display, self.transform)
        if self.encoding.kind == "video":
            values = converted(values, find_display(RECORDED), self.display)
        return np.clip(np.where(np.isnan(values), 0.0, values), 0.0, 1.0)

    def _on_display(self, values: Array) -> Array:
        """Display R'G'B' (..., 3), clipped to 0..1, of what the show LUT gives."""
        if self.show_lut and self.show_lut.scene and self.transform != "none":
            return output_transform(self.show_lut.scene.to_ap0(values), self.display, self.transform)
        if self.show_lut and self.show_lut.display:
            values = converted(values, self.show_lut.display, self.display)
        return np.clip(np.where(np.isnan(values), 0.0, values), 0.0, 1.0)

    def to_transform(self, signal: ArrayLike) -> Array:
        """ACES2065-1 (..., 3) of a graded signal as the output transform gets it: through a LUT that gives a scene."""
        values = np.asarray(signal, np.float64)
        show = self.show_lut
        if show is None or show.scene is None:
            return self.working.to_ap0(values)
        if show.encoding:
            values = show.encoding.from_ap0(self.working.to_ap0(values))
        return show.scene.to_ap0(show.apply(values))

    def after_lut(self, values: Array) -> Array:
        """What is delivered of the show LUT's R'G'B' (..., 3): at the display, after a grade that sits after it."""
        shown = self._on_display(values)
        if self.cdl and self.grade_order == "after":
            return np.clip(self.cdl.apply(shown), 0.0, 1.0)
        return shown

    def evaluate(self, code: ArrayLike, state: State = "graded") -> Array:
        """Display R'G'B' (..., 3) of camera signal values `code` (..., 3), any range; for state `log` the code itself.

        `show` leaves out exposure, white balance, printer points and grade. NaN gives black.
        """
        signal = np.asarray(code, np.float64)
        if state == "log":
            return signal
        if state == "show":
            return self.shown(signal)
        signal = self.correct(signal)
        if self.grade_order == "before":
            return self.shown(self.graded(signal))
        shown = self.shown(signal)
        return np.clip(self.cdl.apply(shown), 0.0, 1.0) if self.cdl else shown

    def stages(self, code: ArrayLike) -> list[tuple[str, Array]]:
        """The signal (..., 3) after each layer of state `graded` that is there, in order, from the camera's own to the
        display's; the last is what `evaluate` gives, but that only the display's is clipped."""
        signal = np.asarray(code, np.float64)
        found = [("camera", signal)]
        if self.exposure or self.white_balance or self.printer_points:
            signal = self.correct(signal)
            found.append(("corrected", signal))
        if self.grade_order == "before" and self.cdl:
            signal = self.graded(signal)
            found.append(("graded", signal))
        signal = self.shown(signal)
        if self.grade_order == "after" and self.cdl:
            found += [("shown", signal), ("graded", np.clip(self.cdl.apply(signal), 0.0, 1.0))]
        else:
            found.append(("display", signal))
        return found

    def layers(self) -> list[dict[str, object]]:
        """Every layer with all its numbers, in order; JSON-able."""
        found: list[dict[str, object]] = [
            {"layer": "encoding", "name": self.encoding.name, "exposure_index": self.encoding.exposure_index}
        ]
        if self.exposure:
            found.append({"layer": "exposure", "stops": self.exposure})
        if self.white_balance:
            found.append(
                {"layer": "white balance", "white_xy": list(self.white_balance), "adaptation": "CAT02"}
            )
        if self.printer_points:
            found.append(
                {"layer": "printer points", "points": list(self.printer_points), "step": self.printer_step}
            )
        grade = None
        if self.cdl is not None:
            grade = {
                "layer": "grade",
                "slope": list(self.cdl.slope),
                "offset": list(self.cdl.offset),
                "power": list(self.cdl.power),
                "saturation": self.cdl.saturation,
                "clamp": self.cdl.clamp,
                "space": self.cdl_space if self.grade_order == "before" else "display",
            }
            if self.grade_order == "before":
                found.append(grade)
        if self.show_lut:
            found.append(self._lut_layer(self.show_lut))
        if self.show_lut and not self.show_lut.scene:
            pass  # it leads to the display
        elif self.transform == "aces2":
            found.append(
                {
                    "layer": "transform",
                    "name": "ACES 2.0",
                    "config": ACES_CONFIG,
                    "view": self.display.config_view,
                }
            )
        elif self.transform == "colorimetric":
            found.append({"layer": "transform", "name": "colorimetric"})
        if grade and self.grade_order == "after":
            found.append(grade)
        found.append({"layer": "display", "name": self.display.name})
        return found

    def _lut_layer(self, show: ShowLut) -> dict[str, object]:
        nodes = {"nodes": show.lut.labels()} if show.lut.labels() else {}
        return {
            "layer": "show LUT",
            "name": show.name,
            "digest": show.lut.digest(),
            "size": show.lut.size,
            "interpolation": show.lut.interpolation or show.interpolation,
            "input_space": _named(show.encoding or self.working),
            "input_levels": show.input_levels,
            "output_space": _named(show.scene) if show.scene else (show.display or self.display).name,
            "output_levels": show.output_levels,
            "contains_grade": show.contains_grade,
            **nodes,
        }

    def digest(self) -> str:
        """`sha256:<hex>` over the layers' numbers; names of LUT files and words for what is in them are no part of it."""
        layers = [
            {k: v for k, v in layer.items() if not (layer["layer"] == "show LUT" and k in ("name", "nodes"))}
            for layer in self.layers()
        ]
        text = json.dumps(layers, sort_keys=True, separators=(",", ":"))
        return f"sha256:{hashlib.sha256(text.encode()).hexdigest()}"

    def describe(self) -> str:
        """The look in one line of plain English."""
        parts = [_named(self.encoding)]
        if self.exposure:
            parts.append(f"exposure {self.exposure:+g} stops")
        if self.white_balance:
            parts.append("white x {:.4f} y {:.4f}".format(*self.white_balance))
        if self.printer_points:
            points = "{:+g} {:+g} {:+g}".format(*self.printer_points)
            parts.append(f"printer points {points} of {self.printer_step:.4f}")
        grade, show = [], []
        if self.cdl is not None:
            space = f" in {self.cdl_space}" if self.cdl_space != "log" else ""
            grade.append(f"CDL {self.cdl.numbers()}{space}")
        if self.show_lut:
            name = "".join(c if c.isprintable() else "?" for c in self.show_lut.name)
            labels = self.show_lut.lut.labels()
            nodes = f" of {', '.join(labels)}" if labels else ""
            show = [f'show LUT "{name}"{nodes}{self._lut_sides()}']
        if not self.show_lut or self.show_lut.scene:
            show += {"aces2": ["ACES 2.0"], "colorimetric": ["colorimetric"], "none": []}[self.transform]
        parts += grade + show if self.grade_order == "before" else show + grade
        return " -> ".join([*parts, self.display.name])

    def _lut_sides(self) -> str:
        """Spaces, levels and interpolation of the show LUT, in words; empty where they are the usual ones."""
        lut = self.show_lut
        assert lut is not None
        sides = (
            lut.encoding,
            lut.input_levels,
            lut.display or lut.scene,
            lut.output_levels,
            lut.lut.interpolation or lut.interpolation,
        )
        if sides == (None, "full", None, "full", "tetrahedral"):
            return ""
        taken = f"{_named(lut.encoding or self.working)} {lut.input_levels}"
        shown = _named(lut.scene) if lut.scene else (lut.display or self.display).name
        given = f"{shown} {lut.output_levels}"
        return f" ({taken} to {given}, {sides[-1]})"


def _named(encoding: Encoding) -> str:
    return encoding.name + (f" EI {encoding.exposure_index}" if encoding.exposure_index else "")
