"""Scopes of a real delivered movie: known colours lie where they are computed, and burn-in counts nowhere."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from here import HereFarm, farm_here, run, write_list  # noqa: F401
from pictures import frame_of, write_movie
from recorded import movie, recorded
from rushlight.batch.job_log import latest, read_records
from rushlight.batch.records.files import DeliveredMovie
from rushlight.batch.records.job_record import DeliveredRecord, read_record
from rushlight.batch.report import page_pictures
from rushlight.batch.report.page_pictures import PICTURES, clip_pictures
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.chart import PATCHES
from rushlight.pipelines.colour.displays import Display, find_display
from rushlight.pipelines.measure.scopes import (
    BARS,
    CHROMA,
    HIGH,
    LOW,
    ROWS,
    SIDE,
    UV,
    Scopes,
    bar_targets,
    place_of,
    uv,
    ycbcr,
)

RECIPE = """
name = "chart"
[[output]]
name = "editorial"
make = "movie"
codec = "prores-422"
container = "mov"
size = "384x256"
[output.burnin]
text = [{ at = "bottom-left", text = "seen", size = 0.06 }]
"""
PATCH = 64


@pytest.fixture
def seen(monkeypatch: pytest.MonkeyPatch) -> list[Scopes]:
    """What the scopes of each frame are drawn of."""
    found: list[Scopes] = []
    draw = page_pictures.scope_svg

    def kept(counts: Scopes, display: Display, title: str) -> str:
        found.append(counts)
        return draw(counts, display, title)

    monkeypatch.setattr(page_pictures, "scope_svg", kept)
    return found


def codes(rgb: np.ndarray, matrix: int = 1) -> tuple[np.ndarray, ...]:
    """Planes of narrow 4:2:2 of ten bits."""
    y, cb, cr = np.moveaxis(ycbcr(rgb, matrix), -1, 0)
    chroma = [np.rint(512 + 896 * c[:, ::2]).astype(np.uint16) for c in (cb, cr)]
    return np.rint(64 + 876 * y).astype(np.uint16), *chroma


def chart(colours: np.ndarray, columns: int) -> np.ndarray:
    """Patches side by side, row by row."""
    grid = colours.reshape(-1, columns, 3)
    return grid.repeat(PATCH, 0).repeat(PATCH, 1)


def near(counts: np.ndarray, row: int, column: int, by: int) -> int:
    return int(counts[max(0, row - by) : row + by + 1, max(0, column - by) : column + by + 1].sum())


def test_the_24_patches_lie_where_they_are_computed(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    seen: list[Scopes],
) -> None:
    signal = find_encoding("LogC3").from_ap0(np.array(list(PATCHES.values())))
    frames = [frame_of("yuv422p10le", *codes(chart(signal, 6))) for _ in range(3)]
    tone = np.sin(2 * np.pi * 997 * np.arange(6000) / 48000) * 2**30  # -6 dBFS
    sound = np.stack([tone, tone]).astype(np.int32)
    write_movie(tmp_path / "chart.mov", frames, options={"profile": "3"}, sound=sound)
    (tmp_path / "chart.toml").write_text(RECIPE)
    day = write_list(tmp_path / "day.csv", {"chart": {}})
    code, said = run("render", day, "--recipe", tmp_path / "chart.toml", "--out", tmp_path / "out")
    assert code == 0, said
    (record,) = latest(read_records(tmp_path / "out")).values()
    assert isinstance(record, DeliveredRecord) and len(seen) == 3
    display = find_display("Rec.709 BT.1886")
    patch = PATCH * PATCH
    _has_level_and_loudness(record, display)
    for counts in seen:
        for name in PATCHES:
            xyz = np.array(record.colour.patches[name].xyz)  # exact, and not from this movie
            rgb = display.from_light(np.linalg.solve(display.gamut.to_xyz(), xyz))
            (_, cb, cr), (u, v) = ycbcr(rgb, 1), uv(xyz)
            at = place_of(cr, -CHROMA, CHROMA, SIDE), place_of(cb, -CHROMA, CHROMA, SIDE)
            least = 0.5 * patch  # edges of patches, and burn-in over one, lie elsewhere
            assert near(counts.vectorscope, *at, by=2) > least, name
            place = place_of(v, 0, UV, SIDE), place_of(u, 0, UV, SIDE)
            if display.to_xyz(rgb)[1] > 0.02:  # a code of a darker one is a step that shows
                assert near(counts.chromaticity, *place, by=3) > least, name
            for k in range(3):
                row = place_of(rgb[k], LOW, HIGH, ROWS)
                assert counts.parade[k, max(0, row - 2) : row + 3].sum() > least, (name, k)
        assert counts.vectorscope.sum() < 384 * 256 * 0.995  # burn-in is left out
        top = counts.parade[:, place_of(0.97, LOW, HIGH, ROWS) :].sum()
        assert top < 100, "burn-in's white is counted"


def _has_level_and_loudness(record: DeliveredRecord, display: Display) -> None:
    """Measured as it was made: before burn-in, and as the sound was laid."""
    white = np.array(record.colour.patches["white 9.5"].xyz)
    signal = display.from_light(np.linalg.solve(display.gamut.to_xyz(), white))
    (picture,) = record.colour.pictures
    (level,) = picture.level
    assert (level.frame, level.outside) == (0, 0.0)
    assert level.luma[1] == pytest.approx(signal.mean(), abs=0.01)  # burn-in's white would be 1
    (entry,) = record.outputs
    assert isinstance(entry, DeliveredMovie) and entry.loudness
    assert (entry.loudness.channels, entry.loudness.true_peak) == (2, pytest.approx(-6.0, abs=0.1))
    assert entry.loudness.integrated is None and entry.loudness.momentary == [None]  # 0.4 s are not full


@pytest.mark.parametrize(("matrix", "display"), [(1, "Rec.709 BT.1886"), (9, "Rec.2020 BT.1886")])
def test_colour_bars_lie_at_their_targets(
    tmp_path: Path, seen: list[Scopes], matrix: int, display: str
) -> None:
    """Bars of 75 % as SMPTE RP 219 has them, in a movie of a codec that loses a little."""
    bars = chart(np.array(list(BARS.values())) * 0.75, 7)[:32]
    frame = frame_of("yuv422p10le", *codes(bars, matrix))
    path = tmp_path / "out" / "editorial" / "bars.mov"
    path.parent.mkdir(parents=True)
    write_movie(path, [frame] * 5, options={"profile": "3"}, matrix=matrix)
    size = {"width": bars.shape[1], "height": 32, "picture": [0, 0, bars.shape[1], 32]}
    entry = movie(path="editorial/bars.mov", frames=5, display=display, **size)
    record = read_record(recorded("bars", entry))
    assert isinstance(record, DeliveredRecord)
    names = clip_pictures(tmp_path / "out", record)["scopes"]
    assert [n.rpartition("-")[2] for n in names] == ["first.svg", "middle.svg", "last.svg"]
    text = (tmp_path / "out" / PICTURES / names[2]).read_text()
    assert "Scopes of bars at 01:00:00:04" in text
    for counts in seen:
        for name, (cb, cr) in bar_targets(matrix, 0.75).items():
            at = place_of(cr, -CHROMA, CHROMA, SIDE), place_of(cb, -CHROMA, CHROMA, SIDE)
            assert near(counts.vectorscope, *at, by=2) > 0.8 * 32 * PATCH, name
