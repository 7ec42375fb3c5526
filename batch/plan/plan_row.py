"""One row of a list into a plan: a clip with everything resolved, or all that is wrong with it, or an original that does not open."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from rushlight.batch.cameras.camera_groups import Seen
from rushlight.batch.decisions.aces_fit import stated_encoding
from rushlight.batch.decisions.decision import Decision, GradeFiles, row_decision
from rushlight.batch.decisions.lut_files import LutFiles
from rushlight.batch.framing.framing_files import ClipFdl, FramingFiles
from rushlight.batch.lists.camera_columns import camera_of
from rushlight.batch.lists.clip_list import Row
from rushlight.batch.lists.find_media import MediaIndex, files_of, resolve_clip
from rushlight.batch.lists.list_columns import GRADE_COLUMNS
from rushlight.batch.lists.row_faults import NoOriginal, faults_of, mended, together
from rushlight.batch.looks.aces_rows import with_aces
from rushlight.batch.looks.corrections import corrections
from rushlight.batch.looks.show_lut_spaces import with_default_lut
from rushlight.batch.plan.apply_defaults import Defaults
from rushlight.batch.plan.clip import plan_clip, resolve_signal, stated_by, takes
from rushlight.batch.plan.clip_sound import with_sound
from rushlight.batch.plan.grade_matching import Headers, Matcher
from rushlight.batch.plan.in_out import with_chart_note, with_still_notes
from rushlight.batch.plan.model import Plan, PlannedClip, Stated
from rushlight.batch.plan.reels import reel_of
from rushlight.batch.scenes.filled_rows import filled_from_sound
from rushlight.batch.sound.ltc_track import with_ltc
from rushlight.batch.sound.sound_folders import SoundFolders
from rushlight.pipelines.colour.camera_encodings import Encoding, find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.errors import (
    FramingError,
    InputError,
    ListError,
    RushlightError,
    UnstatedError,
    own_fault,
)
from rushlight.pipelines.formats.timecode import FrameRate
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.recipe.model import Recipe

__all__ = ["RowPlanner"]

# A fault under one of these is of the decision: with none in its place, the recipe might refuse the row as ungraded.
DECIDES = (*GRADE_COLUMNS, "cdl", "date", "day")


@dataclass(frozen=True, kw_only=True)
class RowPlanner:
    """Plans a row, with all that it needs of its request."""

    recipe: Recipe
    options: Stated
    base: Path  # what clips are relative to
    media: MediaIndex
    headers: Headers
    matcher: Matcher
    defaults: Defaults
    files: GradeFiles
    luts: LutFiles
    fdls: FramingFiles
    lut_base: Path
    sound: SoundFolders

    def into(self, plan: Plan, row: Row) -> None:
        """Add the row to a plan's clips, or to its `wrong` with every fault, or to its `broken`."""
        faults = list(faults_of(row.problem)) if row.problem else []
        broken: RushlightError | None = None
        found: PlannedClip | None = None
        path: Path | None = None
        look: Row | None = row if row.whole else None
        for fault in faults:
            look = _without(look, fault) or look
        try:
            path = self._original(look, faults) if look else None
        except Exception as error:
            broken = own_fault(error, "looked for")
        if path:
            while look is not None:
                try:
                    found = self._planned(look, path, plan)
                    break
                except InputError as error:
                    faults.append(error.at(file=row.file, line=row.line))
                    look = _without(look, error)
                except Exception as error:
                    broken = own_fault(error, "planned", path)
                    plan.unopened.append((path, broken))
                    break
        if path and any(isinstance(fault, UnstatedError) for fault in faults):
            self._unstated(plan, row, path, alone=len(faults) == 1 and not broken)
        if faults:
            plan.wrong.append((row, together([*faults, *([broken] if broken else [])])))
        elif broken:
            plan.broken.append((row, broken))
        elif found:
            plan.clips.append(found)

    def _unstated(self, plan: Plan, row: Row, path: Path, *, alone: bool) -> None:
        facts = self.headers.of(path, None, files_of(path, row.clip, self.base, self.media))
        plan.unstated.append((Seen.of(row, path, facts, reel_of(row, path, facts)), alone))

    def _original(self, row: Row, faults: list[RushlightError]) -> Path | None:
        """Path of a row's original; without one, what else is wrong with the row as far as that can be told."""
        if any(fault.key == "clip" for fault in faults):
            return None
        try:
            tell = partial(self.matcher.told_apart, row)
            return resolve_clip(row.clip, self.base, self.media, tell=tell)
        except RushlightError as error:
            known = isinstance(error, ListError)
            missing = error if known else NoOriginal(f"{row.clip!r}: {error.text}", key="clip")
            faults.append(missing.at(file=row.file, line=row.line))
        checks: tuple[Callable[[], object], ...] = (
            lambda: stated_by(row, self.recipe, {}, self.options),
            lambda: row["encoding"] and _encoding(row["encoding"]),
            lambda: corrections(row, self.recipe.look),
            lambda: row_decision(row, self.files),
        )
        for check in checks:
            try:
                check()
            except InputError as error:
                faults.append(error.at(file=row.file, line=row.line))
        return None

    def _planned(self, row: Row, path: Path, plan: Plan) -> PlannedClip:
        """InputError for the first fault of the row, SourceError where its original does not open."""
        files = files_of(path, row.clip, self.base, self.media)
        plan.named += files
        stated = stated_by(row, self.recipe, {}, self.options)
        rate = next((FrameRate.parse(s.rate) for s in stated if s.rate), None)
        facts = self.headers.of(path, rate, files)
        said = self.defaults.of(row, path, facts)
        row = with_ltc(row, said, facts)
        if said:
            stated = stated_by(row, self.recipe, said, self.options)
        camera = camera_of(row.cells, said)
        decision = row_decision(row, self.files) or self.matcher.decision(row, path, facts, camera)
        stated = [*stated, *self._stated_by_aces(decision)]
        named = next((s.encoding for s in stated if s.encoding), "")
        row = with_default_lut(row, said, named, self.recipe.look)
        decision, recipe, cells = self._with_aces(decision, row, stated, facts)
        fdl = self._fdl(row, said)
        planned = partial(
            plan_clip,
            path=path,
            facts=facts,
            recipe=recipe,
            stated=stated,
            decision=decision,
            luts=self.luts,
            lut_base=self.lut_base,
            camera=camera,
            fdl=self._framing(*fdl),
            no_framing=fdl[0].lower() == "none",
        )
        clip = with_sound(
            planned(_having(row, cells)), said, self.recipe, self.sound, self.matcher.utc_offset
        )
        told = filled_from_sound(row, clip.sound)
        if told is not clip.row:
            other = any(takes(output, told) != takes(output, row) for output in self.recipe.output)
            made = (
                planned(_having(told, cells)) if other else clip
            )  # what it is made into now may not hold it
            clip = replace(clip, row=told, frames=made.frames, looks=made.looks, shows=made.shows)
        return with_chart_note(with_still_notes(clip))

    def _framing(self, reference: str, base: Path, who: str) -> ClipFdl | None:
        """The framing decision list that is named so. FramingError, of the row, where it is none."""
        try:
            return self.fdls.stated(reference, base, who)
        except FramingError as error:
            place = f"{error.file}:{error.line}" if error.line else error.file
            raise FramingError(f"{place}: {error.text}" if place else error.text, key="fdl") from None

    def _stated_by_aces(self, decision: Decision) -> list[Stated]:
        """The encoding by the input transform of a clip's ACES Metadata File: where nobody else states one."""
        encoding = stated_encoding(decision.aces, self.files) if decision.aces else None
        if decision.aces is None or encoding is None:
            return []
        who = f"the ACES Metadata File {Path(decision.aces.file).name}"
        return [Stated(who=who, encoding=encoding.name, exposure_index=encoding.exposure_index)]

    def _with_aces(
        self, decision: Decision, row: Row, stated: Sequence[Stated], facts: Facts
    ) -> tuple[Decision, Recipe, Mapping[str, str]]:
        """Decision and recipe as a clip's ACES Metadata File has them, and cells that its row does not have. GradeError or LutError
        where the file does not fit the clip."""
        if decision.aces is None:
            return decision, self.recipe, {}
        encoding = resolve_signal(stated, facts)[0].encoding
        return with_aces(decision, row, self.recipe, encoding, self.files)

    def _fdl(self, row: Row, said: Mapping[str, str]) -> tuple[str, Path, str]:
        """How a row names its framing decision list, else a default, else the recipe: with the folder it is relative to, and who."""
        stated = (
            (row["fdl"], Path(row.file).parent, "the row"),
            (said.get("fdl", ""), self.lut_base, said.get("fdl_from", "")),
            (self.recipe.fdl, self.lut_base, "the recipe"),
        )
        return next((s for s in stated if s[0]), ("", self.lut_base, ""))


def _having(row: Row, cells: Mapping[str, str]) -> Row:
    """The row as if it had these cells as well."""
    return replace(row, cells={**row.cells, **cells}) if cells else row


def _without(row: Row | None, fault: RushlightError) -> Row | None:
    """The row with something harmless in place of what a fault is about; None where there is no more to see."""
    if row is None or not isinstance(fault, InputError):
        return None
    if fault.key in DECIDES:
        gone = () if fault.key in GRADE_COLUMNS else ("cdl", "date", "day")
        cells = {k: v for k, v in row.cells.items() if k not in gone}
        new = replace(row, grade=CDL(), cells=cells, problem=None)
        return new if (new.grade, new.cells) != (row.grade, row.cells) else None
    rest = mended(row.cells, fault)
    return replace(row, cells=rest, problem=None) if rest is not None else None


def _encoding(name: str) -> Encoding:
    try:
        return find_encoding(name)
    except InputError as error:
        raise error.at(key="encoding") from None
