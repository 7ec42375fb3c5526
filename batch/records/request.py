"""Requests in plain values: as the queue keeps one whose rows could not be planned, and as an output folder keeps each that was asked of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

from annotated_types import Len
from pydantic import Field

from rushlight.batch.records.day_title import NO_TITLE, DayTitle
from rushlight.batch.records.shape import Count, Number, Shape
from rushlight.batch.records.summary import Missing

__all__ = ["ASKED", "REQUEST", "AskedRequest", "AskedRow", "AskedWalk", "KeptRequest", "PlainRequest"]

ASKED: Literal["rushlight-asked-1"] = "rushlight-asked-1"
REQUEST: Literal["rushlight-request-1"] = "rushlight-request-1"


class PlainRequest(Shape):
    """What was asked for, to be asked again: paths are absolute, the recipe a path or a shipped one's name."""

    clip_list: str = Field(description="Path of the list.")
    recipe: str = Field(description="Path of the recipe, or the name of a shipped one.")
    out: str | None = Field(description="Output folder.")
    media: list[str] = Field(description="Folders of originals.")
    sound: list[str] = Field(default=[], description="Folders of the sound recordist's files.")
    grades: list[str] = Field(description="Files and folders of colour decisions.")
    defaults: str | None = Field(description="File of defaults.")
    only: list[str] = Field(description="Rows that are taken, as `COLUMN=VALUE`.")
    encoding: str = Field(description="Encoding where nobody else states one.")
    levels: str = Field(description="Levels where nobody else states them.")
    rate: str = Field(description="Frames a second where headers have none.")
    replaced: str = Field(description="keep or remove: what becomes of outputs that newer ones replace.")
    hash_originals: bool = Field(description="Whether originals are hashed as a whole.")
    manifest: list[str] = Field(
        default=[], description="Hash manifests that originals are held against: paths, or `auto`."
    )
    title: DayTitle = Field(default=NO_TITLE, description="What the day is called.")
    day: str = Field(
        default="", description="Path of the day document that it is made of; empty without one."
    )
    wait_for_grade: bool = Field(default=False, description="Whether what has no grade waits for one.")
    away: list[str] | None = Field(
        default=None, description="Of a day that is watched, folders that were gone or being copied."
    )
    tables: list[str] = Field(default=[], description="Tables of scene, take, circled and note.")


class AskedRow(Shape):
    """A row that asks for a clip."""

    job: str = Field(description="Name of its job; `row-…` where it could not be planned.")
    clip: str = Field(description="Clip as the list names it.")
    line: int = Field(description="Line of the list.")
    asks: str = Field(description="Digest of original, range and look; empty where it could not be planned.")
    original: str = Field(description="What its original is told by, wherever it lies.")
    dropped: bool = Field(description="Whether a person took it out of the queue.")
    folder: str = Field(
        default="", description="Folder inside each output's, where a clip of its name has one."
    )
    files: list[str] = Field(
        default=[], description="Files that templates name, by their paths from the output folder."
    )
    range: str = Field(default="", description="First frame and number of frames; of older versions empty.")
    grade: str = Field(default="", description="Digest of its grade; of older versions empty.")
    look: str = Field(default="", description="Digest of its look; of older versions empty.")
    outputs: list[str] = Field(
        default=[], description="Names of the outputs that it asks for; of older versions empty."
    )
    when: Number = Field(
        default=0, description="When it asked last, in seconds since 1970, where it asks no more; else 0."
    )


class AskedWalk(Shape):
    """Files below the media folders of a request."""

    folders: list[str] = Field(description="The folders.")
    originals: list[Annotated[list[str], Len(3, 3)]] = Field(
        description="Path, key and, where it does not open, the reason, of each original."
    )
    ignored: Mapping[str, Count] = Field(description="How many other files lie in each folder.")
    absent: list[Annotated[list[str], Len(2, 2)]] = Field(
        description="File and manifest, of each that a manifest of the offload names and that is not there."
    )


class AskedRequest(Shape):
    """`log/requests/*.json`: a request as it stood when it was read last."""

    schema_: Literal["rushlight-asked-1"] = Field(
        alias="schema", description="Schema and version of the document."
    )
    clip_list: str = Field(alias="list", description="Path of the list.")
    recipe: str = Field(description="Path of the recipe, or the name of a shipped one.")
    only: list[str] = Field(description="Rows that are taken, as `COLUMN=VALUE`.")
    excerpts: list[str] = Field(
        default=[], description="Ranges and stills of single clips, where nothing else was asked for."
    )
    when: Number = Field(description="When it was read, in seconds since 1970.")
    rows: list[AskedRow] = Field(description="Its rows.")
    gone: list[AskedRow] = Field(
        default=[],
        description="Rows that it had before, of clips that were delivered and it asks for no more.",
    )
    named: list[str] = Field(description="Keys of the originals that its rows name, chosen or not.")
    walk: AskedWalk | None = Field(description="Files below its media folders; null without any.")
    title: DayTitle = Field(default=NO_TITLE, description="What the day is called.")
    day: str = Field(default="", description="Path of the day document; empty without one.")
    missing: list[Missing] = Field(
        default=[], description="What nobody states of its clips, by camera, with the lines that would."
    )


class KeptRequest(Shape):
    """A line of `log/inputs/requests.jsonl`: what was asked for, by absolute path, and what each file of it is kept as."""

    schema_: Literal["rushlight-request-1"] = Field(
        alias="schema", description="Schema and version of the line."
    )
    list_: str = Field(alias="list", description="Path of the list.")
    recipe: str = Field(description="Path of the recipe, or the name of a shipped one.")
    grades: list[str] = Field(description="Files and folders of colour decisions.")
    defaults: str = Field(description="File of defaults; empty without one.")
    media: list[str] = Field(description="Folders of originals.")
    sound: list[str] = Field(default=[], description="Folders of the sound recordist's files.")
    encoding: str = Field(description="Encoding where nobody else states one.")
    levels: str = Field(description="Levels where nobody else states them.")
    rate: str = Field(description="Frames a second where headers have none.")
    only: list[str] = Field(description="Rows that are taken, as `COLUMN=VALUE`.")
    files: Mapping[str, str] = Field(
        description="Names in log/inputs by what each file was: its path, or `KIND NAME`."
    )
    manifest: list[str] = Field(
        default=[], description="Hash manifests that originals are held against: paths, or `auto`."
    )
    title: DayTitle = Field(default=NO_TITLE, description="What the day is called.")
    away: list[str] | None = Field(
        default=None, description="Of a day that is watched, folders that were gone or being copied."
    )
    tables: list[str] = Field(default=[], description="Tables of scene, take, circled and note.")
    outputs: list[str] = Field(
        default=[], description="Names of the outputs that were asked for; empty: all of the recipe's."
    )
    ranges: list[str] = Field(default=[], description="Ranges of single clips, as they were given.")
    stills: list[str] = Field(default=[], description="Stills of single clips, as they were given.")
