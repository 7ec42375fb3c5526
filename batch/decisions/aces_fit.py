"""An ACES Metadata File held against the clip that it is for: what of its pipeline is done here, and what does not fit.

A clip's picture must be the one that was approved. So an input transform or a grade's space of another encoding, a look that
cannot be done here and a rendering of ACES 1 are refused, with both names; what was applied already is not done again, and
that is said. Done are exposure and white balance ahead of the grade, the grade, and one look file after it. An output transform of ACES 2.0 for another display is said too: the recipe's displays are what it delivers.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, Protocol

from rushlight.pipelines.colour.aces_ids import SPACE, display_of, encoding_of, is_aces1_rendering
from rushlight.pipelines.colour.aces_metadata import AcesLook, AcesMetadata, AcesTransform
from rushlight.pipelines.colour.camera_encodings import Encoding, find_encoding
from rushlight.pipelines.colour.gamuts import D65
from rushlight.pipelines.colour.look import working_encoding
from rushlight.pipelines.errors import GradeError
from rushlight.pipelines.luts.lut_nodes import AnyLut
from rushlight.pipelines.luts.scene_conversion import leads_back
from rushlight.pipelines.luts.scene_correction import correction_of, matrix_of
from rushlight.pipelines.recipe.model import LookSettings

__all__ = ["AcesFit", "Correction", "Files", "fitted", "stated_encoding"]

ACES2_OUTPUT = f"{SPACE}v2.0:Output.Academy."


Correction = tuple[float, tuple[float, float] | None]  # stops, and CIE x, y of the scene's white


@dataclass(frozen=True, kw_only=True)
class AcesFit:
    """What a clip takes from its ACES Metadata File beside the grade's numbers. `cells` are what a row would state of it: exposure
    and white balance ahead of the grade, and the look file after it as a LUT from scene to scene."""

    grade_space: Literal["log", "ACEScct"] | None = None  # None without a grade
    cells: Mapping[str, str] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()


class Files(Protocol):
    """Look files and conversions that an ACES Metadata File names."""

    def look_file(self, path: Path) -> AnyLut:
        """A look file. LutError where it cannot be read."""
        ...

    def converted(self, transform: AcesTransform) -> Encoding | None:
        """The encoding that a transform leads from; None for one that is not known here. LutError as `look_file`."""
        ...


def stated_encoding(aces: AcesMetadata, files: Files) -> Encoding | None:
    """The camera encoding that its input transform is for, where that is still to be applied and known here."""
    taken = aces.input
    return None if taken is None or taken.applied or taken.inverse else files.converted(taken)


def fitted(
    aces: AcesMetadata,
    encoding: Encoding,
    settings: LookSettings,
    *,
    lut: str = "",
    stated: Correction = (0.0, None),
    files: Files,
) -> AcesFit:
    """Hold an ACES Metadata File against a clip of that encoding and the look's settings. `lut` is the clip's show LUT, if it
    has one, `stated` the correction that row and recipe state. GradeError with both names where
    the file does not fit or cannot be done here; LutError where a look file cannot be read."""
    try:
        warnings = [*_input(aces.input, encoding, files), *_applied_looks(aces.looks)]
        cells = _look_files(aces, encoding, lut, stated, files.look_file)
        space = _grade_space(aces.grades[0], encoding, settings, files) if aces.grades else None
        warnings += _output(aces.output, settings, lut)
    except GradeError as error:
        raise GradeError(f"the ACES Metadata File {aces.file} {error.text}", key="cdl") from None
    return AcesFit(
        grade_space=space, cells=cells, warnings=tuple(f"{aces.file}: {text}" for text in warnings)
    )


def _of(encoding: Encoding) -> str:
    return encoding.name + (f" EI {encoding.exposure_index}" if encoding.exposure_index else "")


def _input(taken: AcesTransform | None, encoding: Encoding, files: Files) -> Iterator[str]:
    """Warnings of an input transform; GradeError where it is not the clip's."""
    if taken is None:
        return
    if taken.applied:
        if encoding.name != "ACES2065-1":
            yield f"its input transform {taken.name} is applied already, and the original is read as {_of(encoding)}"
        return
    if taken.inverse:
        raise GradeError(
            f"takes a picture made for a display, by {taken.name}, and the clip is {_of(encoding)}; "
            "an inverse output transform is not done here"
        )
    found = files.converted(taken)
    if found is None:
        raise GradeError(
            f"has the input transform {taken.name}, which is not known here, and the clip is {_of(encoding)}; "
            "if they are the same, give the grade alone, as .cdl or in the row"
        )
    if found != encoding:
        raise GradeError(f"is for {_of(found)} (by {taken.name}), and the clip is {_of(encoding)}")


def _applied_looks(looks: tuple[AcesLook, ...]) -> Iterator[str]:
    for look in looks:
        if look.applied:
            name = f"grade {look.cdl.numbers()}" if look.cdl else "look " + _named(look)
            yield f"its {name} is applied already and is not done again"


def _named(look: AcesLook) -> str:
    return look.correction or (look.transform.name if look.transform else "") or look.description


def _look_files(
    aces: AcesMetadata, encoding: Encoding, lut: str, stated: Correction, read: Callable[[Path], AnyLut]
) -> dict[str, str]:
    """Cells of a row for the look files: ahead of the grade exposure and white balance, after it one from scene to scene."""
    todo = [look for look in aces.looks if not look.applied]
    if len(aces.grades) > 1:
        raise GradeError(
            f"has {len(aces.grades)} grades to be applied one after another; a clip takes one here"
        )
    for look in todo:
        if not look.is_grade and not (look.transform and look.transform.path):
            raise GradeError(
                f"has the look {_named(look)}, which is not done here; give it as a look file or a show LUT"
            )
    at = next((k for k, look in enumerate(todo) if look.is_grade), None)
    if at is None:
        at = 1 if todo and _corrects(todo[0], encoding, read) else 0
        ahead, after = todo[:at], todo[at:]
    else:
        ahead, after = todo[:at], todo[at + 1 :]
    cells = _correction_cells(ahead, encoding, stated, read)
    if len(after) > 1:
        raise GradeError(
            f"has the looks {', '.join(map(_named, after))} after its grade; a clip takes one here"
        )
    for look in after:
        assert look.transform is not None
        path = look.transform.path
        if lut and lut != path:
            raise GradeError(
                f"has the look {_named(look)}, and the clip has the show LUT {lut!r}: a clip takes one; "
                "the row's lut = none takes the look"
            )
        cells |= {"lut": path, "lut_input": "ACES2065-1", "lut_output": "ACES2065-1"}
    return cells


def _corrects(look: AcesLook, encoding: Encoding, read: Callable[[Path], AnyLut]) -> Correction | None:
    assert look.transform is not None
    matrix = matrix_of(read(Path(look.transform.path)))
    return None if matrix is None else correction_of(matrix, working_encoding(encoding))


def _correction_cells(
    ahead: list[AcesLook], encoding: Encoding, stated: Correction, read: Callable[[Path], AnyLut]
) -> dict[str, str]:
    if not ahead:
        return {}
    names = ", ".join(map(_named, ahead))
    found = _corrects(ahead[0], encoding, read) if len(ahead) == 1 else None
    if found is None:
        raise GradeError(
            f"has the look {names} ahead of its grade, which is no exposure and white balance of {_of(encoding)}: "
            "only these are done there"
        )
    if stated != (0.0, None):
        if not _alike(found, stated):
            raise GradeError(
                f"has {_words(found)} ahead of its grade (by {names}), and the clip has {_words(stated)}"
            )
        return {}
    stops, white = found
    cells = {"exposure": repr(stops)} if stops else {}
    return cells | ({"white_balance": f"{white[0]!r} {white[1]!r}"} if white else {})


def _alike(first: Correction, second: Correction) -> bool:
    whites = [white or D65 for _, white in (first, second)]
    near = all(abs(a - b) < 1e-6 for a, b in zip(*whites, strict=True))
    return near and abs(first[0] - second[0]) < 1e-6


def _words(correction: Correction) -> str:
    stops, white = correction
    return f"exposure {stops:+g} stops" + (f" and white x {white[0]:.4f} y {white[1]:.4f}" if white else "")


def _grade_space(
    look: AcesLook, encoding: Encoding, settings: LookSettings, files: Files
) -> Literal["log", "ACEScct"]:
    """Where a grade is to sit. GradeError where that is neither the clip's own encoding nor ACEScct."""
    own, acescct = working_encoding(encoding), find_encoding("ACEScct")
    assert look.from_space is not None
    found = files.converted(look.from_space)
    if found is None:
        raise GradeError(
            f"has a grade in the space of {look.from_space.name}, which is not known here, and the clip is {_of(encoding)}"
        )
    into = look.to_space
    if into and not _leads_into(into, found, files):
        raise GradeError(f"leads to its grade by {into.name} and back by {look.from_space.name}: two spaces")
    if found not in (own, acescct):
        raise GradeError(
            f"has a grade in {_of(found)} (by {look.from_space.name}), and the clip is {_of(encoding)}: "
            "the same numbers would be another grade"
        )
    if settings.grade_order == "after":
        raise GradeError(
            f'has a grade in {_of(found)}, ahead of the show transform, and the recipe\'s grade_order is "after"'
        )
    return "log" if found == own else "ACEScct"


def _leads_into(into: AcesTransform, encoding: Encoding, files: Files) -> bool:
    if into.path:
        return leads_back(files.look_file(Path(into.path)), encoding)
    return bool(into.ids) and encoding_of(into.ids[0], to_aces=False) == encoding


def _output(shown: AcesTransform | None, settings: LookSettings, lut: str) -> Iterator[str]:
    """Warnings of an output transform; GradeError where its rendering is another than the recipe's and no LUT stands for it."""
    if shown is None:
        return
    ours = f"show LUT {lut!r}" if lut else f"{_TRANSFORMS[settings.transform]} on {settings.display}"
    if shown.applied:
        yield f"its output transform {shown.name} is applied already, and the picture is shown by {ours} all the same"
        return
    ident = shown.ids[0] if shown.ids else ""
    if lut or settings.transform != "aces2":
        yield f"it was seen through {shown.name}, and is shown by {ours}"
    elif is_aces1_rendering(ident) or not ident.startswith(ACES2_OUTPUT):
        rendering = "another rendering" if is_aces1_rendering(ident) else "not known here"
        raise GradeError(
            f"was seen through {shown.name}, {rendering}, and the recipe shows {ours}: not the picture that was approved. "
            "Give that transform as a show LUT; or take the grade alone, as .cdl or in the row"
        )
    elif (display := display_of(ident)) is None or display.name != settings.display:
        yield f"it was seen through {shown.name}, and is shown by {ours}"


_TRANSFORMS = {"aces2": "ACES 2.0", "colorimetric": "no tone mapping", "none": "no transform"}
