"""Headers of sound files, held to wavinfo and to the FFmpeg binary where those read them."""

import re
import resource
import subprocess
from fractions import Fraction
from pathlib import Path
from typing import Any

import imageio_ffmpeg
import pytest

from recordings import bext, chunk, encoded, ixml, packed, tone, write_wav
from rushlight.pipelines.errors import SourceError
from rushlight.pipelines.sound.read_recording import read_recording

REFERENCE = 8_302_694_399 // 2  # of 96 kHz past noon: more than 32 bits hold
FORMS = ["RIFF", "RF64", "BW64"]


def recorded(
    path: Path,
    form: str = "RIFF",
    *,
    last: bool = False,
    names: tuple[str, ...] = ("MIX L", "MIX R", "BOOM"),
    **more: Any,
) -> Path:
    chunks = [
        chunk(b"bext", bext(REFERENCE, description="sSCENE=9\r\nsTAKE=9\r\nsNOTE=quiet")),
        chunk(b"iXML", ixml("12A", "3", "SR07", "24000/1001", hertz=96000, reference=REFERENCE, names=names)),
    ]
    sides = {"after": chunks} if last else {"before": chunks}
    return write_wav(path, 4800, hertz=96000, channels=len(names), form=form, **sides, **more)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("last", [False, True])
def test_a_poly_file_says_all_that_it_says(form: str, last: bool, tmp_path: Path) -> None:
    found = read_recording(recorded(tmp_path / "T3.wav", form, last=last))
    assert (found.scene, found.take, found.roll, found.note) == ("12A", "3", "SR07", "quiet")
    assert (found.time_reference, found.samples, found.channels, found.codec) == (
        REFERENCE,
        4800,
        3,
        "pcm_s24le",
    )
    assert (found.clock.timecode_rate, found.clock.drop, found.clock.stamp_rate) == (
        Fraction(24000, 1001),
        False,
        96000,
    )
    assert [t.name for t in found.tracks] == ["MIX L", "MIX R", "BOOM"]
    assert (found.date, found.form, found.notes) == ("2026-05-04", form, ())


@pytest.mark.parametrize("form", FORMS)
def test_wavinfo_reads_the_same(form: str, tmp_path: Path) -> None:
    wavinfo = pytest.importorskip("wavinfo", reason="of the test extra: pip install -e '.[test]'")
    path = recorded(tmp_path / "T3.wav", form)
    theirs, ours = wavinfo.WavInfoReader(str(path)), read_recording(path)
    assert theirs.bext.time_reference == ours.time_reference
    assert (theirs.ixml.scene, theirs.ixml.take, theirs.ixml.tape) == (ours.scene, ours.take, ours.roll)
    assert [t.name for t in theirs.ixml.track_list] == [t.name for t in ours.tracks]
    assert (theirs.data.frame_count, theirs.fmt.channel_count, theirs.fmt.sample_rate) == (4800, 3, 96000)


@pytest.mark.parametrize("form", ["RIFF", "RF64"])
def test_the_ffmpeg_binary_reads_the_same_place(form: str, tmp_path: Path) -> None:
    path = recorded(tmp_path / "T3.wav", form)
    said = subprocess.run(
        [imageio_ffmpeg.get_ffmpeg_exe(), "-hide_banner", "-i", str(path)], capture_output=True, text=True
    ).stderr
    match = re.search(r"time_reference\s*:\s*(\d+)", said)
    assert match and int(match[1]) == read_recording(path).time_reference


def test_without_ixml_the_description_speaks(tmp_path: Path) -> None:
    description = "sSPEED=023.976-ND\r\nsSCENE=4\r\nsTAKE=2\r\nsTAPE=SR09\r\nsTRK1=BOOM"
    found = read_recording(write_wav(tmp_path / "a.wav", 10, before=[chunk(b"bext", bext(5, description))]))
    assert (found.scene, found.take, found.roll, found.tracks[0].name) == ("4", "2", "SR09", "BOOM")
    assert (found.clock.timecode_rate, found.clock.drop) == (Fraction(24000, 1001), False)


def test_a_plain_wav_has_no_place(tmp_path: Path) -> None:
    found = read_recording(write_wav(tmp_path / "a.wav", 10))
    assert (found.time_reference, found.clock.timecode_rate, found.samples) == (None, None, 10)


def test_times_that_differ_are_said(tmp_path: Path) -> None:
    chunks = [chunk(b"bext", bext(5)), chunk(b"iXML", ixml(reference=7))]
    found = read_recording(write_wav(tmp_path / "a.wav", 10, before=chunks))
    assert found.time_reference == 7 and "iXML's is taken" in found.notes[0]


@pytest.mark.parametrize(
    ("more", "samples", "said"),
    [
        ({"size": 0}, 4800, "did not finish"),
        ({"keep": 30_000}, 3133, "3133 of 4800 samples"),
        ({"form": "RF64", "size": 0}, 4800, "did not finish"),
    ],
)
def test_what_is_there_is_counted_not_believed(more: Any, samples: int, said: str, tmp_path: Path) -> None:
    path = recorded(tmp_path / "a.wav", **more)
    found = read_recording(path)
    if "keep" in more:
        samples = (30_000 - found.data_start) // 9
        said = f"{samples} of 4800 samples"
    assert found.samples == samples and said in found.notes[0]


def test_tracks_are_mapped_by_their_place_in_the_file(tmp_path: Path) -> None:
    data = ixml(names=["BOOM", "LAV", "LAV 2"], channels=[1, 2, 5])
    found = read_recording(write_wav(tmp_path / "a.wav", 10, channels=3, before=[chunk(b"iXML", data)]))
    assert [(t.place, t.channel, t.name) for t in found.tracks] == [
        (1, 1, "BOOM"),
        (2, 2, "LAV"),
        (3, 5, "LAV 2"),
    ]
    other = read_recording(write_wav(tmp_path / "b.wav", 10, channels=2, before=[chunk(b"iXML", data)]))
    assert [t.name for t in other.tracks] == ["BOOM", "LAV"] and "3 tracks for 2 channels" in other.notes[0]


def test_names_carry_nothing_that_steers(tmp_path: Path) -> None:
    data = ixml("1\u202e2", names=["BO\x9bOM", "x" * 5000])
    found = read_recording(write_wav(tmp_path / "a.wav", 10, channels=2, before=[chunk(b"iXML", data)]))
    assert (
        found.scene == r"1\u202e2"
        and found.tracks[0].name == r"BO\x9bOM"
        and len(found.tracks[1].name) == 300
    )


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "is empty"),
        (b"no sound", "no WAV file"),
        (
            b"RIFF\x24\0\0\0WAVEfmt \x10\0\0\0\x02\0\x01\0\x80\xbb\0\0\0\0\0\0\x04\0\x04\0data\0\0\0\0",
            "not read here",
        ),
        (
            b"RIFF\x24\0\0\0WAVEfmt \x10\0\0\0\x01\0\0\0\x80\xbb\0\0\0\0\0\0\x04\0\x04\0data\0\0\0\0",
            "damaged",
        ),
        (b"RIFF\x24\0\0\0WAVEdata\0\0\0\0", "fmt"),
    ],
)
def test_what_is_no_sound_file_is_one_error_with_its_name(data: bytes, said: str, tmp_path: Path) -> None:
    (tmp_path / "a.wav").write_bytes(data)
    with pytest.raises(SourceError, match=said) as error:
        read_recording(tmp_path / "a.wav")
    assert error.value.file == str(tmp_path / "a.wav")


def test_a_sparse_file_of_4_gigabytes_costs_nothing(tmp_path: Path) -> None:
    samples = 187_500_000
    path = write_wav(
        tmp_path / "big.wav", samples, channels=8, form="RF64", sparse=True,
        before=[chunk(b"JUNK", b"odd")], after=[chunk(b"bext", bext(REFERENCE)), chunk(b"iXML", ixml())],
    )  # fmt: skip
    before = resource.getrusage(resource.RUSAGE_SELF)
    found = read_recording(path)
    after = resource.getrusage(resource.RUSAGE_SELF)
    assert (found.samples, found.time_reference, found.notes) == (
        samples,
        REFERENCE,
        ("its iXML lists 1 tracks for 8 channels",),
    )
    assert after.ru_maxrss - before.ru_maxrss < 20_000  # kilobytes
    assert after.ru_inblock - before.ru_inblock < 2000  # half-kilobytes from the disk


# --- FLAC and MOV


def test_flac_with_a_time_reference(tmp_path: Path) -> None:
    found = read_recording(
        encoded(tmp_path / "a.flac", "flac", {"time_reference": "172800000", "scene": "4"})
    )
    assert (found.form, found.codec, found.samples, found.sample_rate) == ("FLAC", "flac", 48000, 48000)
    assert (found.time_reference, found.scene) == (172_800_000, "4")


def test_flac_that_keeps_the_chunks_of_its_wav(tmp_path: Path) -> None:
    """APPLICATION blocks `riff`, one a chunk, as RFC 9639's registry has them."""
    path = encoded(tmp_path / "a.flac", "flac", {})
    data = path.read_bytes()
    blocks = b""
    for ident, body in ((b"bext", bext(REFERENCE)), (b"iXML", ixml("7", "2", rate="25/1"))):
        block = b"riff" + chunk(ident, body)
        blocks += b"\x02" + len(block).to_bytes(3, "big") + block
    path.write_bytes(data[:42] + blocks + data[42:])
    found = read_recording(path)
    assert (found.time_reference, found.scene, found.take, found.clock.timecode_rate) == (
        REFERENCE,
        "7",
        "2",
        25,
    )


@pytest.mark.parametrize(("codec", "ending"), [("pcm_s24le", "mov"), ("aac", "mp4")])
@pytest.mark.parametrize("alone", [False, True])
def test_mov_and_mp4_with_a_timecode_track(codec: str, ending: str, alone: bool, tmp_path: Path) -> None:
    path = encoded(tmp_path / f"a.{ending}", codec, {"timecode": "10:00:00:12"}, "25")
    if alone:  # the picture's track is hidden: what is left is a sound file with a timecode
        data = path.read_bytes()
        at = data.index(b"trak", data.index(b"soun"))
        path.write_bytes(data[:at] + b"free" + data[at + 4 :])
    found = read_recording(path)
    assert (found.form, found.sample_rate, found.clock.timecode_rate) == ("MOV", 48000, 25)
    assert found.time_reference == (10 * 3600 * 25 + 12) * 1920
    assert abs(found.samples - 48000) < 2100


def test_bits_are_told_by_their_names(tmp_path: Path) -> None:
    for bits, codec in ((16, "pcm_s16le"), (24, "pcm_s24le"), (32, "pcm_s32le"), (-32, "pcm_f32le")):
        assert read_recording(write_wav(tmp_path / "a.wav", 10, bits=bits)).codec == codec
    assert len(packed(tone()(0, 10), 16)) == 20
