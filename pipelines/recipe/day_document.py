"""The day document, `day.toml`: what a shooting day is called, where its media, sound and grades lie, what is to be made of
them and where it goes; with the `[[default]]` tables of a side file."""

from __future__ import annotations

import re
from pathlib import PurePath
from typing import Literal

from pydantic import Field, field_validator

from rushlight.pipelines.recipe.clip_defaults import Default, Model
from rushlight.pipelines.recipe.space_settings import Space
from rushlight.pipelines.recipe.tell_settings import Tell

__all__ = ["DayDocument"]

LONGEST = 1000  # characters of a path
_CLOCK = re.compile(r"([01]?\d|2[0-3]):[0-5]\d")


class DayDocument(Model):
    """A shooting day. Paths are relative to the document; an option of a command takes the place of its key."""

    production: str = Field(default="", max_length=200)  # its working title, for pages and burn-in
    day: str = Field(default="", max_length=80)  # the shoot day: "12"
    unit: str = Field(default="", max_length=80)  # "main", "second"
    media: tuple[str, ...] = ()  # folders that the cards arrive in
    gone: tuple[
        str, ...
    ] = ()  # cards that are gone for good, by name: `rushlight day run` waits for them no more
    sound: tuple[str, ...] = ()  # folders of the sound recordist's files; they may come later
    grades: tuple[str, ...] = ()  # files and folders of colour decisions; they may come later
    tables: tuple[
        str, ...
    ] = ()  # CSV of scene, take, circled, note and columns of your own, by `clip`; they may come later
    manifest: tuple[
        str, ...
    ] = ()  # hash manifests of the originals, compared before a clip is rendered: files, or "auto"
    list: str = ""  # a clip list; without one, every original under `media` is a clip
    recipes: tuple[str, ...] = (
        "overnight",
    )  # names of shipped ones, or files; of several, each into a folder of its own name
    out: str = ""  # the folder for everything that is made
    ready_by: str = ""  # by the next time a clock shows this: "05:30"
    graphics: Literal["auto", "off", "require"] = (
        "auto"  # grade on a graphics card where one can be used, never, or nowhere else; the bytes are the same
    )
    wait_for_grade: bool = False  # `rushlight day run`: a clip that has no grade yet waits for one
    tell: Tell = Tell()  # who is told of the night
    space: Space = Space()  # what `rushlight space` may clear
    default: tuple[Default, ...] = ()  # what is true of a camera, reel or file pattern

    @field_validator("day", mode="before")
    @classmethod
    def _number(cls, value: object) -> object:
        return str(value) if isinstance(value, int) and not isinstance(value, bool) else value

    @field_validator("media", "gone", "sound", "grades", "tables", "manifest", "recipes", mode="before")
    @classmethod
    def _one(cls, value: object) -> object:
        return (value,) if isinstance(value, str) else value

    @field_validator("media", "gone", "sound", "grades", "tables", "manifest", "recipes")
    @classmethod
    def _named(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        if not all(value):
            raise ValueError("has an empty name in it; take it out, or state it")
        return value

    @field_validator("media", "sound", "grades", "tables", "recipes", "list", "out")
    @classmethod
    def _paths(cls, value: tuple[str, ...] | str) -> tuple[str, ...] | str:
        for name in (value,) if isinstance(value, str) else value:
            if "\0" in name or len(name) > LONGEST:
                raise ValueError("has a name that no file has: it is too long, or has a NUL in it")
        return value

    @field_validator("ready_by")
    @classmethod
    def _clock(cls, value: str) -> str:
        if value and not _CLOCK.fullmatch(value):
            raise ValueError('takes a time of day, such as "05:30"')
        return value

    @field_validator("recipes")
    @classmethod
    def _apart(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        if not value:
            raise ValueError("names none; takes one or several, or the key must go")
        names = [PurePath(recipe).stem.casefold() for recipe in value]
        if len(set(names)) < len(names):
            raise ValueError("two of them have one name; their folders would be one")
        return value
