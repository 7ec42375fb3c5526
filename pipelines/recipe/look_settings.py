"""Looks of a recipe: the show's, and those of outputs that have another, each key of which is the show's unless it states it.

A LUT is for the display that it was stated beside. Where a look takes another display and the LUT of the look before it, the LUT's
picture is shown in that display's light, as with any LUT that is made for another display.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from pydantic import Field, model_validator

from rushlight.pipelines.recipe.clip_defaults import Model

__all__ = ["LookSettings", "OtherLook", "other_look"]

LUT_WORDS = ("lut_input", "lut_output", "lut_contains_grade", "lut_interpolation")


class LookSettings(Model):
    """The show's look: what stands between the log picture and the monitor. A table `looks.NAME` has the same keys, each the
    show's where it is not stated."""

    display: str = "Rec.709 BT.1886"
    transform: Literal["aces2", "colorimetric", "none"] = "aces2"
    show_lut: str = ""
    lut_interpolation: Literal["tetrahedral", "trilinear"] = "tetrahedral"
    lut_input: str = (
        "full"  # the encoding that the LUT takes (else the clip's own), and its levels: "LogC3 narrow"
    )
    lut_output: str = "full"  # the display that it is for (else `display`), or the encoding of the scene that it gives, and its levels
    lut_contains_grade: bool = False
    grade_order: Literal["before", "after"] = "before"
    grade_space: Literal["log", "ACEScct"] = "log"
    clamp: bool = True
    exposure: float = 0.0  # stops; these three for rows that state none
    white_balance: str = ""  # the white of the scene: CIE x y, or daylight such as 5600K
    printer_points: str = ""  # red, green, blue; a twelfth of a stop at 18 % grey each
    size: int = Field(default=65, ge=17, le=129)

    @model_validator(mode="after")
    def _one_place(self) -> LookSettings:
        if self.grade_order == "after" and self.grade_space != "log":
            raise ValueError(
                f'grade_order = "after" works on the display\'s signal; grade_space = "{self.grade_space}" must go'
            )
        return self

    @property
    def lut_named(self) -> str:
        """The show LUT; empty where there is none."""
        return "" if self.show_lut.lower() == "none" else self.show_lut


@dataclass(frozen=True, kw_only=True)
class OtherLook:
    """The look of an output that does not show the recipe's: its name and settings, whether it states a LUT, which a row's does
    not overrule, the display that its LUT is for where nobody says more of that, and the recipe's words on LUTs that hold for it."""

    name: str
    settings: LookSettings
    own_lut: bool
    lut_display: str
    inherited: tuple[str, ...] = ()  # keys


def other_look(
    base: LookSettings, looks: Mapping[str, LookSettings], *, look: str, lut: str, display: str
) -> OtherLook | None:
    """The look of an output that states these of its keys `look`, `lut` and `display`; None where it states none of them.
    KeyError for a look that is none of `looks`, ValidationError where settings do not go together."""
    short = {key: text for key, text in (("show_lut", lut), ("display", display)) if text}
    own = [looks[look]] if look else []
    own += [LookSettings.model_validate(short)] if short else []
    settings, own_lut, lut_display = base, False, base.display
    words = base.model_fields_set & set(LUT_WORDS)
    for each in own:
        stated = {key: getattr(each, key) for key in each.model_fields_set}
        settings = LookSettings.model_validate(settings.model_dump(exclude_unset=True) | stated)
        if "show_lut" in stated:
            own_lut, lut_display = True, settings.display
        words = words - stated.keys()
    said = [look, f"lut {lut}" if lut else "", f"display {display}" if display else ""]
    name = ", ".join(filter(None, said))
    if not own:
        return None
    inherited = tuple(word for word in LUT_WORDS if word in words) if own_lut and settings.lut_named else ()
    return OtherLook(
        name=name, settings=settings, own_lut=own_lut, lut_display=lut_display, inherited=inherited
    )
