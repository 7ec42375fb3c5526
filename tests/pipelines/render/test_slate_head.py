"""A slate card at a movie's head: so many frames earlier, as much silence, and the clip itself untouched."""

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

import here
import independent
from command import rushlight
from logged import latest, read_records
from movies import tone
from pictures import numbered, write_movie
from rushlight.batch.verify.deliveries import verify
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.render.slate_card import chart_and_ramp

FRAMES, CARD = 62, 7  # more than a segment; at 29.97 a card is no whole number of samples
OUTPUT = '[[output]]\nname = "{name}"\nmake = "movie"\nsize = "640x360"\ncodec = "{codec}"\ncard = {card}\n'
BURNIN = '[output.burnin]\ntext = [{ at = "bottom", text = "{timecode}" }]\n'
RECIPE = '[look]\ntransform = "none"\n' + "".join(
    OUTPUT.format(name=name, codec=codec, card=card) + BURNIN
    for name, codec, card in (
        ("carded", "prores-422", CARD),
        ("plain", "prores-422", 0),
        ("viewing", 'h264"\nquality = 10\npreset = "superfast', 40),
    )
)
ROW = "clip,encoding,levels,slope,offset,power,saturation,scene,take\na.mov,S-Log3/S-Gamut3.Cine,narrow,1.1 1 0.9,0 0 0.01,1 1 1,1.1,41,2\n"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The same clip made in this process, and by two workers."""
    folder = tmp_path_factory.mktemp("head")
    rate = Fraction(30000, 1001)
    write_movie(
        folder / "a.mov",
        [numbered(n, 256, 144) for n in range(FRAMES)],
        rate=rate,
        timecode="00:00:00;03",
        sound=tone(2, round(FRAMES * 48000 / rate)),
    )
    (folder / "day.csv").write_text(ROW)
    (folder / "card.toml").write_text(RECIPE)
    for number, command in enumerate((here.rushlight, rushlight), 1):
        run = command(
            "render", folder / "day.csv", "--recipe", folder / "card.toml",
            "--out", folder / f"out{number}", "--workers", 2,
        )  # fmt: skip
        assert run.returncode == 0, run.stdout + run.stderr
    return folder / "out1", folder / "out2"


def entries(out: Path) -> dict[str, dict[str, Any]]:
    (record,) = latest(read_records(out)).values()
    return {e["output"]: e for e in record["outputs"]}


def test_frames_and_first_timecode_are_the_outputs_own(made: tuple[Path, Path]) -> None:
    out, _ = made
    (record,) = latest(read_records(out)).values()
    assert (record["frames"], record["first_timecode"]) == (FRAMES, "00:00:00;03")
    wanted = {"carded": (CARD, "23:59:59;26"), "plain": (0, "00:00:00;03"), "viewing": (40, "23:59:58;23")}
    for name, entry in entries(out).items():
        card, first = wanted[name]
        assert (entry["card"], entry["frames"], entry["first_timecode"]) == (card, FRAMES + card, first)
        path = out / entry["path"]
        assert independent.count(path) == FRAMES + card and independent.timecode(path) == first


def test_the_sound_has_as_much_silence_and_is_the_same_behind_it(made: tuple[Path, Path]) -> None:
    out, _ = made
    carded, plain = (independent.sound(out / name / "a.mov") for name in ("carded", "plain"))
    silence = round(CARD * 48000 * Fraction(1001, 30000))
    assert carded.shape[1] == plain.shape[1] + silence
    assert not carded[:, :silence].any() and (carded[:, silence:] == plain).all()


def test_the_clip_behind_the_card_is_the_same_to_the_byte(made: tuple[Path, Path]) -> None:
    out, _ = made
    carded, plain = (
        independent.raw_frames(out / name / "a.mov", "gray", 640, 360) for name in ("carded", "plain")
    )
    assert (carded[CARD:] == plain).all()
    assert (carded[:CARD] == carded[0]).all() and (carded[0] != plain[0]).mean() > 0.5


def test_verify_passes_and_the_colour_checksum_knows_no_card(made: tuple[Path, Path]) -> None:
    out, _ = made
    (verdict,) = verify(out)
    assert {c.verdict for c in verdict.checks.values()} <= {"pass", "cannot tell"}, verdict
    for path, checks in verdict.files.items():
        assert checks["frames"].verdict == checks["timecode"].verdict == "pass", (path, checks)
    (record,) = latest(read_records(out)).values()
    assert not [w for w in record["warnings"] if "card" in w and "no room" not in w]
    digests = {name: p["digest"] for p in record["colour"]["pictures"] for name in p["outputs"]}
    assert digests["carded"] == digests["plain"]  # they are one picture, made once


def test_this_process_and_two_workers_give_the_same_bytes(made: tuple[Path, Path]) -> None:
    one, two = made
    for entry in entries(one).values():
        assert (one / entry["path"]).read_bytes() == (two / entry["path"]).read_bytes()


def test_the_chart_on_the_card_is_the_looks_own(made: tuple[Path, Path]) -> None:
    """Codes of the 24 patches by the exact look and BT.709, each found as a flat field in the delivered picture."""
    look = Look(
        encoding=find_encoding("S-Log3/S-Gamut3.Cine"),
        display=find_display("Rec.709 BT.1886"),
        cdl=CDL(slope=(1.1, 1, 0.9), offset=(0, 0, 0.01), saturation=1.1),
        transform="none",
    )
    patches, _, _ = chart_and_ramp(look, "graded")
    samples = independent.raw(made[0] / "carded" / "a.mov", "yuv422p10le", 640, 360).astype(float)
    luma = samples[: 640 * 360].reshape(360, 640)[:, ::2]
    cb, cr = samples[640 * 360 :].reshape(2, 360, 320)
    for red, green, blue in patches:
        y = 0.2126 * red + 0.7152 * green + 0.0722 * blue
        codes = 64 + 876 * y, 512 + 896 * (blue - y) / 1.8556, 512 + 896 * (red - y) / 1.5748
        near = [abs(plane - code) < 6 for plane, code in zip((luma, cb, cr), codes, strict=True)]
        assert (near[0] & near[1] & near[2]).sum() > 25, (red, green, blue)
