"""An ACES Metadata File held against the clip that it is for: what of its pipeline is done here, and what does not fit.

A clip's picture must be the one that was approved. So an input transform or a grade's space of another encoding, a look that is
not known here and a rendering of ACES 1 are refused, with both names; what was applied already is not done again, and that is
said. An output transform of ACES 2.0 for another display is said too: the recipe's displays are what it delivers.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from rushlight.batch.decisions.decision import Decision
from rushlight.batch.lists.clip_list import Row
from rushlight.pipelines.colour.aces_ids import SPACE, display_of, encoding_of, is_aces1_rendering
from rushlight.pipelines.colour.aces_metadata import AcesLook, AcesMetadata, AcesTransform
from rushlight.pipelines.colour.camera_encodings import Encoding, find_encoding
from rushlight.pipelines.colour.look import working_encoding
from rushlight.pipelines.errors import GradeError
from rushlight.pipelines.recipe.model import LookSettings, Recipe

__all__ = ["AcesFit", "fitted", "stated_encoding", "with_aces"]

ACES2_OUTPUT = f"{SPACE}v2.0:Output.Academy."


@dataclass(frozen=True, kw_only=True)
class AcesFit:
    """What a clip takes from its ACES Metadata File beside the grade's numbers."""

    grade_space: Literal["log", "ACEScct"] | None = None  # None without a grade
    warnings: tuple[str, ...] = ()


def stated_encoding(aces: AcesMetadata) -> Encoding | None:
    """The camera encoding that its input transform is for, where that is still to be applied and known here."""
    taken = aces.input
    if taken is None or taken.applied or taken.inverse or not taken.ids:
        return None
    return encoding_of(taken.ids[0])


def with_aces(decision: Decision, row: Row, recipe: Recipe, encoding: Encoding) -> tuple[Decision, Recipe]:
    """A clip's decision and recipe as its ACES Metadata File has them: with its warnings, and its grade in the space that it
    states. GradeError as `fitted`."""
    if decision.aces is None:
        return decision, recipe
    lut = row["lut"] or ("" if encoding.kind == "video" else recipe.look.show_lut)
    fit = fitted(decision.aces, encoding, recipe.look, lut="" if lut.lower() == "none" else lut)
    decision = replace(decision, warnings=(*decision.warnings, *fit.warnings))
    if not fit.grade_space:
        return decision, recipe
    settings = recipe.look.model_copy(update={"grade_space": fit.grade_space})
    return decision, recipe.model_copy(update={"look": settings})


def fitted(aces: AcesMetadata, encoding: Encoding, settings: LookSettings, *, lut: str = "") -> AcesFit:
    """Hold an ACES Metadata File against a clip of that encoding and the look's settings. `lut` is the clip's show LUT, if it
    has one. GradeError with both names where it does not fit or cannot be done here."""
    try:
        warnings = [*_input(aces.input, encoding), *_applied_looks(aces.looks)]
        for look in aces.looks:
            if not (look.applied or look.is_grade):
                _refuse_look(look)
        if len(aces.grades) > 1:
            raise GradeError(
                f"has {len(aces.grades)} grades to be applied one after another; a clip takes one here"
            )
        space = _grade_space(aces.grades[0], encoding, settings) if aces.grades else None
        warnings += _output(aces.output, settings, lut)
    except GradeError as error:
        raise GradeError(f"the ACES Metadata File {aces.file} {error.text}", key="cdl") from None
    return AcesFit(grade_space=space, warnings=tuple(f"{aces.file}: {text}" for text in warnings))


def _of(encoding: Encoding) -> str:
    return encoding.name + (f" EI {encoding.exposure_index}" if encoding.exposure_index else "")


def _input(taken: AcesTransform | None, encoding: Encoding) -> Iterator[str]:
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
    found = encoding_of(taken.ids[0]) if taken.ids else None
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


def _refuse_look(look: AcesLook) -> None:
    raise GradeError(
        f"has the look {_named(look)}, which is not done here; give it as a show LUT, and the grade as .cdl or in the row"
    )


def _grade_space(look: AcesLook, encoding: Encoding, settings: LookSettings) -> Literal["log", "ACEScct"]:
    """Where a grade is to sit. GradeError where that is neither the clip's own encoding nor ACEScct."""
    own, acescct = working_encoding(encoding), find_encoding("ACEScct")
    assert look.from_space is not None
    found = encoding_of(look.from_space.ids[0]) if look.from_space.ids else None
    if found is None:
        raise GradeError(
            f"has a grade in the space of {look.from_space.name}, which is not known here, and the clip is {_of(encoding)}"
        )
    into = look.to_space
    if into and not (into.ids and encoding_of(into.ids[0], to_aces=False) == found):
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
