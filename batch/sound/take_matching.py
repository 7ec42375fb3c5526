"""Match sound takes with clips: by name, else by timecode, scene and take, sound roll and date; with the
reason.

Wild tracks and false starts are left out. Of takes that overlap a clip the one with its scene and take counts most, then one
that is not marked as no good, then one that covers all of it, then the longest overlap. Two that tie are that clip's error,
as with grades. A take whose clock disagrees with the picture's is reported and never chosen.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from fractions import Fraction
from math import ceil

from rushlight.batch.sound.several_recordings import together
from rushlight.batch.sound.sound_folders import SoundFolders
from rushlight.batch.sound.sound_statements import SoundStated
from rushlight.pipelines.counted import shortened
from rushlight.pipelines.errors import ListError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.originals.sound import SAMPLE_RATE
from rushlight.pipelines.sound.placing import Fit, Shown, fit, frames_of_day
from rushlight.pipelines.sound.recording import Recording
from rushlight.pipelines.sound.take import Take

__all__ = ["FAR", "Chosen", "ClipSound", "choose", "is_off_speed", "may_overlap"]

PULL_DOWN = (Fraction(1), Fraction(1001, 1000), Fraction(1000, 1001))
FAR = 300.0  # seconds: rates of 0.1 % more or less, and drop-frame, make 86 s of difference in a day
ALIKE = tuple((Fraction(n), Fraction(n * 1000, 1001)) for n in (24, 30))  # rates taken for one another
NONE_OVERLAPS = "no take overlaps its timecode"


@dataclass(frozen=True, kw_only=True)
class ClipSound:
    """Facts of a clip that decide which take is its own. `timecode` is None without one; `made` is its
    header's date."""

    shown: Shown
    has_timecode: bool = True
    scene: str = ""
    take: str = ""
    date: datetime.date | None = None  # its row's
    made: datetime.date | None = None
    varispeed: bool = False


@dataclass(frozen=True, kw_only=True)
class Chosen:
    """A clip's production sound, or the reason why it has none. `notes` are warnings; `wanted` is False where nobody misses it."""

    take: Take | None = None
    fit: Fit | None = None
    reason: str
    notes: tuple[str, ...] = ()
    wanted: bool = True
    stated: SoundStated | None = None


def is_off_speed(clip: ClipSound) -> bool:
    """True of high-speed and varispeed: what was shot faster or slower than it is shown, but for pull-down."""
    return clip.varispeed or clip.shown.shot / clip.shown.delivered not in PULL_DOWN


def choose(clip: ClipSound, stated: SoundStated, media: SoundFolders) -> Chosen:
    """The take of a clip. ListError with key `sound` for a tie, and for files that the row names and that are not there,
    not of that time, or cannot be laid together."""
    if stated.none:
        return Chosen(reason="the row wants none", wanted=False)
    if stated.camera:
        return Chosen(reason="the row wants the camera's", wanted=False)
    if is_off_speed(clip):
        shot, shown = FrameRate(fraction=clip.shown.shot), FrameRate(fraction=clip.shown.delivered)
        why = "of variable speed" if clip.varispeed else f"shot at {shot} and shown at {shown}"
        if stated.files:
            raise ListError(f"names sound files for a clip {why}, which has none by rule", key="sound")
        return Chosen(reason=f"{why}: none by rule", wanted=False)
    if not clip.has_timecode:
        if stated.files:
            raise ListError(
                "names sound files for a clip without timecode: they cannot be placed", key="sound"
            )
        return Chosen(reason="the clip has no timecode")
    if stated.files:
        return _named(clip, stated, media)
    return _by_timecode(clip, stated, media)


# --- by name


def _named(clip: ClipSound, stated: SoundStated, media: SoundFolders) -> Chosen:
    if not media.folders:
        raise ListError("names sound files, and no --sound folder is given", key="sound")
    found: list[Recording] = []
    for name in stated.files:
        files = media.named(name)
        if not files:
            broken = next((why for path, why in media.unreadable if path.name.lower() == name.lower()), "")
            text = f"is not readable: {broken}" if broken else "is not under the --sound folders"
            raise ListError(f"{name!r} {text}", key="sound")
        found += files
    takes = list(dict.fromkeys(media.take_with(recording) for recording in found))
    placed = [_placed(take, clip, stated) for take in takes]
    if len(takes) == 1:
        return _chosen(takes[0], placed[0], clip, "named in the row")
    whole, notes = together(list(zip(takes, placed, strict=True)))
    chosen = _chosen(whole, _placed(whole, clip, stated), clip, f"{len(takes)} recordings named in the row")
    return replace(chosen, notes=(*notes, *chosen.notes))


def _placed(take: Take, clip: ClipSound, stated: SoundStated) -> Fit:
    """Placement of a take that a row names. ListError where it has none, or none under the clip."""
    placed = fit(take, clip.shown, rate=stated.rate, offset=stated.offset)
    if placed is None:
        raise ListError(f"{take.name} has no time reference: it cannot be placed", key="sound")
    if placed.problem:
        raise ListError(f"{take.name}: {placed.problem}", key="sound")
    if not placed.overlap:
        raise ListError(
            f"{take.name} lies elsewhere: {_runs(take, clip, stated)}, the clip from {clip.shown.timecode}",
            key="sound",
        )
    return placed


# --- by timecode


@dataclass(frozen=True, kw_only=True)
class _Candidate:
    take: Take
    fit: Fit
    names: int  # 0: scene and take are the clip's; 1: not known; 2: others

    @property
    def rank(self) -> tuple[int, bool, bool, int]:
        return self.names, self.take.first.no_good, not self.fit.whole, -self.fit.overlap


def _by_timecode(clip: ClipSound, stated: SoundStated, media: SoundFolders) -> Chosen:
    candidates: list[_Candidate] = []
    refused: list[str] = []
    for take in media.takes:
        if not may_overlap(take, clip.shown, stated.offset):
            continue
        placed = fit(take, clip.shown, rate=stated.rate, offset=stated.offset)
        if placed is None or not placed.overlap:
            continue
        names = _names(clip, take)
        why = _unfit(take, placed, clip, stated, names)
        if why:
            refused.append(f"{take.name} {why}")
        else:
            candidates.append(_Candidate(take=take, fit=placed, names=names))
    if not candidates:
        return Chosen(reason=_nothing(clip, stated, media, refused))
    best = min(c.rank for c in candidates)
    alike = _of_date([c for c in candidates if c.rank == best], clip)
    if len(alike) > 1:
        raise ListError(_tie(alike), key="sound")
    (found,) = alike
    first = found.take.first
    notes = []
    if found.names == 2:
        notes.append(f"its sound {found.take.name} says scene {first.scene or '-'} take {first.take or '-'}")
    if first.no_good:
        notes.append(f"its sound {found.take.name} is marked as no good")
    if (
        first.date
        and clip.made
        and not clip.date
        and abs((_date(first.date, found.fit) - clip.made).days) > 1
    ):
        notes.append(f"its sound {found.take.name} is of {first.date}, its own header says {clip.made}")
    how = "scene and take, " if found.names == 0 else ""
    chosen = _chosen(found.take, found.fit, clip, f"{how}timecode")
    return replace(chosen, notes=(*notes, *chosen.notes))


def may_overlap(take: Take, shown: Shown, offset: Fraction = Fraction(0)) -> bool:
    """False where a take lies minutes away from a clip, whatever rate is meant: rough, and quick for a day of many takes."""
    first = take.first
    if first.time_reference is None:
        return False
    begins = first.time_reference / float(first.clock.stamp_rate)
    apart = (shown.timecode.frames / shown.timecode.rate.nominal - begins) % 86400
    margin = FAR + abs(float(offset)) / 48000 + abs(float(shown.ahead))
    return (
        apart <= take.samples / first.sample_rate + margin
        or apart >= 86400 - shown.frames / float(shown.shot) - margin
    )


def _names(clip: ClipSound, take: Take) -> int:
    """0 where scene and take are the clip's, 1 where either side says neither, 2 where they differ."""
    first = take.first
    pairs = [(clip.scene, first.scene), (clip.take, first.take)]
    known = [(a, b) for a, b in pairs if a and b]
    if any(_plain(a) != _plain(b) for a, b in known):
        return 2
    return 0 if len(known) == 2 else 1


def _plain(text: str) -> str:
    """A scene or take as it may be compared: no case, no signs, no zeros in front."""
    return "".join(c for c in text.casefold() if c.isalnum()).lstrip("0")


def _unfit(take: Take, placed: Fit, clip: ClipSound, stated: SoundStated, names: int) -> str:
    """Why a take that overlaps a clip is not for it; empty where it may be."""
    first = take.first
    if first.wild:
        return "is a wild track"
    if first.false_start:
        return "is a false start"
    if stated.roll and not fnmatchcase(first.roll.lower(), stated.roll.lower()):
        return f"is of sound roll {first.roll or '(none)'}, the clip's is {stated.roll}"
    if placed.problem:
        return f"is not used: {placed.problem}"
    if clip.date and first.date and not stated.roll and _date(first.date, placed) != clip.date:
        return f"is of {first.date}, the clip of {clip.date}"
    if names != 0 and 2 * placed.overlap < placed.total:
        return f"covers only {placed.overlap * 100 // placed.total} % of it, and its scene and take are not the clip's"
    return ""


def _date(text: str, placed: Fit) -> datetime.date:
    """The date on which the clip's first frame lies, if the take began on `text`."""
    try:
        return datetime.date.fromisoformat(text) + datetime.timedelta(days=placed.days)
    except (ValueError, OverflowError):
        return datetime.date.min


def _of_date(alike: list[_Candidate], clip: ClipSound) -> list[_Candidate]:
    """Of takes that rank alike and are of several dates, those of the date that the clip's header states, if any is."""
    if len({c.take.first.date for c in alike}) < 2 or clip.made is None:
        return alike
    return [c for c in alike if c.take.first.date and _date(c.take.first.date, c.fit) == clip.made] or alike


def _tie(alike: Sequence[_Candidate]) -> str:
    names = shortened([str(c.take.first.path) for c in alike], 3)
    dates = {c.take.first.date for c in alike if c.take.first.date}
    rolls = {c.take.first.roll for c in alike if c.take.first.roll}
    ways = ["`sound` (its file's name)"]
    ways += ["`date`"] if len(dates) > 1 else []
    ways += ["`sound_roll`"] if len(rolls) > 1 else []
    return f"{len(alike)} takes fit this clip alike ({names}); give the row {' or '.join(ways)}"


def _nothing(clip: ClipSound, stated: SoundStated, media: SoundFolders, refused: list[str]) -> str:
    """Why no take was found, with what would have overlapped."""
    if refused:
        return "; ".join(refused[:3]) + (f"; and {len(refused) - 3} more" if len(refused) > 3 else "")
    near = (take for take in media.takes if may_overlap(take, clip.shown, stated.offset))
    return next(filter(None, (_read_otherwise(take, clip, stated) for take in near)), NONE_OVERLAPS)


def _read_otherwise(take: Take, clip: ClipSound, stated: SoundStated) -> str:
    """What would lay a take under a clip if its timecode were read at another rate, or label by label; empty where nothing."""
    clock, shot = take.first.clock, clip.shown.shot
    if stated.rate is not None or take.first.wild or take.first.false_start:
        return ""
    used = clock.timecode_rate or shot
    says = f"says {FrameRate(fraction=used)}" if clock.timecode_rate else "states no rate"
    for other in (rate for pair in ALIKE if {used, shot} <= set(pair) for rate in pair if rate != used):
        placed = fit(take, clip.shown, rate=other)
        would = f"{take.name}, which {says}, would if its timecode ran at {FrameRate(fraction=other)}"
        if placed and placed.overlap and not placed.problem:
            return f"{NONE_OVERLAPS}; {would}: state `sound_rate`"
        if placed and placed.overlap and not clock.timecode_rate:
            return (
                f"{NONE_OVERLAPS}; {would}, as the picture's does not: only `sound_offset` would lay it there"
            )
    return _label_by_label(take, clip)


def _label_by_label(take: Take, clip: ClipSound) -> str:
    """The same of one that is drop-frame where the picture is not, or the reverse."""
    shown, clock = clip.shown, take.first.clock
    drop, rate = shown.timecode.drop, FrameRate(fraction=shown.shot)
    if clock.drop in (None, drop) or clock.timecode_rate != shown.shot or not rate.can_drop:
        return ""
    minutes = shown.timecode.frames // (60 * rate.nominal)
    frames = rate.dropped * (minutes - minutes // 10) * (-1 if drop else 1)
    moved = fit(take, shown, offset=frames * SAMPLE_RATE / shown.delivered)
    if moved is None or not moved.overlap:
        return ""
    own, theirs = ("non-drop", "drop-frame") if drop else ("drop-frame", "non-drop")
    return (
        f"{NONE_OVERLAPS}; {take.name} has its labels, but {own} and not {theirs}: it lies {abs(float(frames / rate.fraction)):.1f} s "
        f"away at that hour; state `sound_rate` and a `sound_offset` of about {frames} frames if its labels hold"
    )


# --- what is said


def _chosen(take: Take, placed: Fit, clip: ClipSound, reason: str) -> Chosen:
    notes = [f"{take.name} {note}" for note in placed.said]
    notes += take.notes
    quiet = sum(high - low for low, high in _quiet(take, placed))
    if quiet:
        notes.append(f"its sound {take.name} does not cover it: silence {silence(clip.shown, take, placed)}")
        reason += f", covers {(placed.total - quiet) * 100 // placed.total} %"
    return Chosen(take=take, fit=placed, reason=reason, notes=tuple(notes))


def _quiet(take: Take, placed: Fit) -> list[tuple[int, int]]:
    """The runs of delivered samples without sound: ahead of the take, between its parts, and after it."""
    ends = [0]
    for part, gap in zip(take.parts, take.gaps, strict=True):
        ends += [ends[-1] + gap, ends[-1] + gap + take.part_samples(part)]
    between = [
        tuple(min(max(ceil((at - placed.start) / placed.step), 0), placed.total) for at in run)
        for run in zip(ends[2:-1:2], ends[3::2], strict=True)
    ]
    low, high = placed.covered
    runs = [(0, low), *between, (high, placed.total)]
    return [(a, b) for a, b in runs if a < b]


def silence(shown: Shown, take: Take, placed: Fit) -> str:
    """The runs of a clip without sound, by timecode; empty where there are none."""
    runs = _quiet(take, placed)
    return " and ".join(f"from {shown.label(a)} to {shown.label(max(a, b - 1))}" for a, b in runs)


def _runs(take: Take, clip: ClipSound, stated: SoundStated) -> str:
    """From when to when a take runs, by its own timecode."""
    first = take.first
    rate = FrameRate(fraction=stated.rate or first.clock.timecode_rate or clip.shown.shot)
    drop = bool(first.clock.drop) and rate.can_drop
    assert first.time_reference is not None
    begin = int(frames_of_day(first.time_reference, first.clock, rate.fraction))
    last = int(begin + (take.samples - 1) / first.clock.stamp_rate * rate.fraction)
    return f"it runs from {Timecode(frames=begin, rate=rate, drop=drop)} to {Timecode(frames=last, rate=rate, drop=drop)}"
