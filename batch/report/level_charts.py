"""Level and loudness of a clip over time, as points for the page's drawings, with what left its range in words.

Level is that of the delivered picture before burn-in, once a second, against EBU R 103; loudness that of the sound as it was laid, by
ITU-R BS.1770. Both are the record's: nothing is measured here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rushlight.batch.records.colour import Level
from rushlight.batch.records.files import DeliveredMovie
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.records.sound import PEAK, SoundLoudness
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.measure.signal_range import AREA, LUMA, RGB

__all__ = ["HEIGHT", "WIDTH", "Chart", "level_chart", "loudness_chart"]

WIDTH, HEIGHT = 320, 80
SIGNAL = (-0.15, 1.15)  # foot and head of the level's drawing
LOUD = (-60.0, 0.0)  # of the loudness's, in LUFS
NAMED = 4  # places that are named in words


@dataclass(frozen=True, kw_only=True)
class Chart:
    """A drawing WIDTH by HEIGHT: an area and a line (SVG points), rules (where, what they are), marks (how far across), and all in words."""

    area: str
    line: str
    rules: Sequence[tuple[float, str]]
    marks: Sequence[float]
    words: str
    left: bool  # True where something left its range


def level_chart(record: DeliveredRecord) -> Chart | None:
    """Level of the clip's first picture that was measured, luma as the area and R'G'B' as the line around it; None without one."""
    picture = next((p for p in record.colour.pictures if p.level), None)
    if picture is None:
        return None
    levels, sdr = picture.level, _is_sdr(record, picture.display)
    out = [k for k, each in enumerate(levels) if sdr and each.outside > AREA]
    luma = [min(e.luma[0] for e in levels), max(e.luma[1] for e in levels)]
    rgb = [min(e.rgb[0] for e in levels), max(e.rgb[1] for e in levels)]
    said = f"Level of {', '.join(picture.outputs)}: luma {_percent(luma)}, R'G'B' {_percent(rgb)}"
    if out:
        places = ", ".join(
            f"{_timecode(record, levels[k])} ({100 * levels[k].outside:.1f} % of the picture)"
            for k in out[:NAMED]
        )
        more = f" and {len(out) - NAMED} more" if len(out) > NAMED else ""
        said += f"; leaves EBU R 103 at {places}{more}"
    elif sdr:
        said += "; inside EBU R 103 in every second"
    else:
        said += "; EBU R 103 is of SDR and is not applied"
    return Chart(
        area=_band([e.luma for e in levels]),
        line=_band([e.rgb for e in levels]),
        rules=[(_signal(0), "0"), (_signal(1), "100 %")]
        + ([(_signal(v), "") for v in (*RGB, *LUMA)] if sdr else []),
        marks=[round(_middle(k, len(levels)), 2) for k in out],
        words=f"{said}.",
        left=bool(out),
    )


def loudness_chart(record: DeliveredRecord) -> Chart | None:
    """Loudness of the first movie that has one, momentary as the area and short-term as the line; None without one."""
    entry = next((e for e in record.outputs if isinstance(e, DeliveredMovie) and e.loudness), None)
    if entry is None or entry.loudness is None:
        return None
    loud = entry.loudness
    too_high = loud.true_peak is not None and loud.true_peak > PEAK
    if loud.integrated is None and loud.true_peak is None:
        said = f"Loudness of {entry.output}: silence"
    else:
        whole = "nothing above the gate" if loud.integrated is None else f"{loud.integrated:.1f} LUFS"
        said = f"Loudness of {entry.output}: {whole} integrated, true peak {_peak(loud)}"
        if too_high:
            places = counted(len(loud.over), "time")
            said += f", above {PEAK:g} dBTP" + (f", samples above it {places}" if loud.over else "")
    if loud.channels == 2 and sum(track.channels for track in entry.sound) > 2:
        said += "; of the first two tracks"
    count = len(loud.momentary)
    floor = f"{WIDTH},{HEIGHT} 0,{HEIGHT}"
    return Chart(
        area=f"{_points(loud.momentary)} {floor}" if count else "",
        line=_points(loud.short_term),
        rules=[(_loud(v), f"{v:g}") for v in (-23.0, -40.0)],
        marks=[round(_middle(k, count), 2) for k in loud.over],
        words=f"{said}.",
        left=too_high,
    )


def _is_sdr(record: DeliveredRecord, display: str) -> bool:
    name = display or next((x.name for x in record.look.layers if x.layer == "display"), "")
    try:
        return not find_display(name).hdr
    except RushlightError:
        return False  # of another version: no limit is held to it


def _percent(pair: Sequence[float]) -> str:
    low, high = (round(100 * value, 1) + 0.0 for value in pair)
    return f"{low:g} to {high:g} %"


def _peak(loud: SoundLoudness) -> str:
    return "below -100 dBTP" if loud.true_peak is None else f"{loud.true_peak:.1f} dBTP"


def _timecode(record: DeliveredRecord, level: Level) -> str:
    try:
        start = Timecode.parse(record.first_timecode, FrameRate.parse(record.rate))
    except RushlightError:
        return f"frame {level.frame}"
    return str(start + (level.frame - record.first_frame))


def _middle(k: int, count: int) -> float:
    return WIDTH * (k + 0.5) / max(1, count)


def _signal(value: float) -> float:
    low, high = SIGNAL
    return round(HEIGHT * (high - min(max(value, low), high)) / (high - low), 2)


def _loud(value: float | None) -> float:
    low, high = LOUD
    return round(HEIGHT * (high - min(max(low if value is None else value, low), high)) / (high - low), 2)


def _band(pairs: Sequence[Sequence[float]]) -> str:
    """Both sides of a band, which reaches over the whole width also where it is a single second's."""
    ends = [0.0, *(_middle(k, len(pairs)) for k in range(len(pairs))), float(WIDTH)]
    spread = [pairs[0], *pairs, pairs[-1]]
    upper = [f"{x:.1f},{_signal(pair[1])}" for x, pair in zip(ends, spread, strict=True)]
    lower = [f"{x:.1f},{_signal(pair[0])}" for x, pair in zip(ends, spread, strict=True)]
    return " ".join([*upper, *reversed(lower)])


def _points(values: Sequence[float | None]) -> str:
    if not values:
        return ""
    ends = [0.0, *(_middle(k, len(values)) for k in range(len(values))), float(WIDTH)]
    return " ".join(
        f"{x:.1f},{_loud(v)}" for x, v in zip(ends, [values[0], *values, values[-1]], strict=True)
    )
