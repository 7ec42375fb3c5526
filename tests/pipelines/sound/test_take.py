"""Files put together into takes."""

from fractions import Fraction
from pathlib import Path
from typing import Any

from recordings import bext, chunk, ixml, made_take, write_wav
from rushlight.pipelines.sound.read_recording import read_recording
from rushlight.pipelines.sound.recording import Recording
from rushlight.pipelines.sound.take import Take, day_samples, take_of, takes_of


def wav(
    path: Path, samples: int = 100, reference: int | None = 0, *, channels: int = 1, **said: Any
) -> Recording:
    names = said.pop("names", [f"T{k}" for k in range(1, channels + 1)])
    before = (
        []
        if reference is None
        else [chunk(b"bext", bext(reference)), chunk(b"iXML", ixml(names=names, **said))]
    )
    return read_recording(write_wav(path, samples, channels=channels, before=before))


def test_a_set_of_mono_files_is_one_take_in_the_order_of_its_tracks(tmp_path: Path) -> None:
    found = [
        wav(tmp_path / f"T1_{k}.wav", 100 + k, 960, family="F", names=[f"TRACK {k}"], channels=1)
        for k in (10, 2, 1)
    ]
    found = [wav(r.path, r.samples, 960, family="F", names=[r.tracks[0].name], **{}) for r in found]
    (take,) = takes_of(found)
    assert [r.path.name for r in take.files] == ["T1_1.wav", "T1_2.wav", "T1_10.wav"]
    assert (take.channels, take.samples, [t.place for t in take.tracks]) == (3, 110, [1, 2, 3])


def test_recorders_tracks_come_before_names(tmp_path: Path) -> None:
    second = write_wav(
        tmp_path / "a.wav",
        10,
        before=[chunk(b"bext", bext(5)), chunk(b"iXML", ixml(family="F", channels=[2], names=["LAV"]))],
    )
    first = write_wav(
        tmp_path / "b.wav",
        10,
        before=[chunk(b"bext", bext(5)), chunk(b"iXML", ixml(family="F", channels=[1], names=["BOOM"]))],
    )
    (take,) = takes_of(map(read_recording, (second, first)))
    assert [t.name for t in take.tracks] == ["BOOM", "LAV"]


def test_without_a_family_names_up_to_the_number_count(tmp_path: Path) -> None:
    same = [wav(tmp_path / f"SC1_{k}.wav", 100, 960) for k in (1, 2)]
    later = wav(tmp_path / "SC1_3.wav", 100, 96000)
    found = takes_of([*same, later])
    assert [len(t.files) for t in found] == [2, 1]
    assert take_of(same) is not None and take_of([*same, later]) is None


def test_equal_names_of_several_takes_are_no_set(tmp_path: Path) -> None:
    """A101_1, A101_2: one number a take, in files of two channels."""
    found = takes_of(wav(tmp_path / f"A101_{k}.wav", 100, 960, channels=2) for k in (1, 2))
    assert len(found) == 2


def test_files_without_a_time_stay_apart(tmp_path: Path) -> None:
    assert len(takes_of(wav(tmp_path / f"A_{k}.wav", 10, None) for k in (1, 2))) == 2


def test_a_recording_that_was_split_is_joined_to_the_sample(tmp_path: Path) -> None:
    a, b, c = (wav(tmp_path / f"T{k}.wav", 100, 1000 + 100 * k, family="F") for k in range(3))
    (take,) = takes_of([c, a, b])
    assert [part[0].path.name for part in take.parts] == [
        "T0.wav",
        "T1.wav",
        "T2.wav",
    ] and take.samples == 300
    gap = wav(tmp_path / "T9.wav", 100, 1301, family="F")
    assert [t.samples for t in takes_of([a, b, c, gap])] == [300, 100]


def test_a_split_set_of_mono_files(tmp_path: Path) -> None:
    files = [
        wav(tmp_path / f"T{n}_{k}.wav", 100, 1000 + 100 * n, family="F", names=[f"N{k}"])
        for n in range(2)
        for k in (1, 2)
    ]
    (take,) = takes_of(files)
    assert [len(part) for part in take.parts] == [2, 2] and (take.samples, take.channels) == (200, 2)


def test_a_split_at_midnight(tmp_path: Path) -> None:
    day = 86400 * 48000
    a, b = wav(tmp_path / "a.wav", 100, day - 100), wav(tmp_path / "b.wav", 100, 0)
    (take,) = takes_of([b, a])
    assert [part[0].path.name for part in take.parts] == ["a.wav", "b.wav"]


def test_takes_that_touch_by_chance_are_told_by_their_names(tmp_path: Path) -> None:
    a, b = wav(tmp_path / "a.wav", 100, 0, take="1"), wav(tmp_path / "b.wav", 100, 100, take="2")
    assert len(takes_of([a, b])) == 2


def test_copies_in_two_folders_are_two_takes(tmp_path: Path) -> None:
    for name in ("x", "y"):
        (tmp_path / name).mkdir()
    assert len(takes_of(wav(tmp_path / name / "a.wav", 100, 0) for name in ("x", "y"))) == 2


def test_a_day_of_its_own_timecode(tmp_path: Path) -> None:
    """Published check values: 24 hours in samples at 48,000."""
    for rate, flag, samples in (
        ("25/1", "NDF", Fraction(4_147_200_000)),
        ("24000/1001", "NDF", Fraction(4_151_347_200)),
        ("30000/1001", "DF", Fraction(41_471_958_528, 10)),
    ):
        assert day_samples(wav(tmp_path / "a.wav", rate=rate, flag=flag)) == samples


def test_a_gap_is_as_long_as_the_time_references_say() -> None:
    first, second = made_take("a.wav", 1_000_000, 48_000), made_take("b.wav", 1_058_000, 48_000)
    assert Take(parts=(*first.parts, *second.parts)).gaps == (0, 10_000)
    assert Take(parts=(*second.parts, *first.parts)).gaps == (0, 0)  # out of order: nothing is made up
    assert Take(parts=(*first.parts, *made_take("c.wav", None).parts)).gaps == (0, 0)


def test_a_recording_that_was_converted_since_counts_its_time_at_the_old_rate() -> None:
    """Made at 48 kHz, a file of 96 kHz now: two of its samples to one count of its stamp."""
    first, second, third = (
        made_take(f"{n}.wav", ref, 96_000, hertz=96_000, stamp=48_000)
        for n, ref in (("a", 1_000_000), ("b", 1_048_000), ("c", 1_100_000))
    )
    assert Take(parts=(*first.parts, *second.parts, *third.parts)).gaps == (0, 0, 8_000)
    assert first.first.end_reference == 1_048_000
    assert [len(take.parts) for take in takes_of([first.first, second.first])] == [2]
