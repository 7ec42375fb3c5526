"""MXF packages: reel, clip, comments and UMIDs, as pyaaf2 and two builds of FFmpeg read them."""

import hashlib
import re
import shutil
from collections.abc import Mapping
from pathlib import Path

import av
import pytest

import independent
from movies import made, tone
from mxf_structure import structure
from rushlight.pipelines.errors import DeliveryError
from rushlight.pipelines.formats.codecs import CODECS, codec
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.outputs.mxf_packages import Umids, mxf_metadata, set_umids, umid_text, umids_of
from rushlight.pipelines.outputs.readback import check, read_back
from rushlight.pipelines.outputs.sound_tracks import Sound

ROW = {"scene": "12A", "take": "3", "camera": "A", "circled": "yes", "note": "soft at the end", "lens": "32"}


def movie(
    folder: Path,
    name: str = "dnxhr-lb",
    *,
    rate: str = "25",
    timecode: str = "10:00:00:00",
    metadata: Mapping[str, str] | None = None,
    sound: int = 0,
    frames: int = 3,
) -> Path:
    """An MXF of reel A001 as the muxer leaves it."""
    folder.mkdir(exist_ok=True)
    found = FrameRate.parse(rate)
    total = round(frames * 48000 / found.fraction)
    return made(
        folder,
        codec(name),
        "mxf",
        found,
        Timecode.parse(timecode, found),
        [frames],
        sound=Sound(channels=sound, samples=total, blocks=[tone(sound, total)]) if sound else None,
        metadata=metadata,
    )


@pytest.fixture(scope="module")
def bare(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One with sound, comments and a name, and the UMIDs that all files have."""
    return movie(tmp_path_factory.mktemp("bare"), metadata=mxf_metadata("A001C001", ROW), sound=2)


def copy_of(bare: Path, folder: Path, umids: Umids, name: str = "a.mxf") -> Path:
    path = shutil.copy(bare, folder / name)
    set_umids(path, umids)
    return path


def test_the_muxer_leaves_all_files_the_same_umids(bare: Path) -> None:
    """The fault that is mended here: held bit-exact, every clip and reel is one and the same."""
    assert {p.umid[-2:] for p in structure(bare).packages.values()} == {"00", "01", "02"}
    assert all(set(p.umid[-41:-2]) <= {"0", "."} for p in structure(bare).packages.values())


def test_reel_clip_and_comments_are_found_by_another_reader(bare: Path, tmp_path: Path) -> None:
    umids = umids_of("a-1 0123", "A001")
    found = structure(copy_of(bare, tmp_path, umids))
    material, file, tape = (found.packages[kind] for kind in ("material", "file", "tape"))
    assert found.pattern == "OP1a"
    assert (material.name, tape.name) == ("A001C001", "A001")
    assert material.comments == {column: cell for column, cell in ROW.items() if cell}
    assert (material.umid, file.umid, tape.umid) == (umids.material, umids.file, umids.reel)
    assert found.essence == umids.file
    assert (material.refers, file.refers) == ({umids.file}, {umids.reel})  # from the clip to its reel
    assert {p.timecode for p in found.packages.values()} == {(900_000, 25, False)}


def test_two_builds_of_ffmpeg_read_the_same(bare: Path, tmp_path: Path) -> None:
    umids = umids_of("a-1 0123", "A001")
    path = copy_of(bare, tmp_path, umids)
    delivered = read_back(path)
    assert delivered.umids == umids and delivered.reel == "A001"
    assert delivered.metadata["material_package_name"] == "A001C001"
    assert delivered.metadata["comment_scene"] == "12A"
    text = independent.said(path)
    for word in ("reel_umid", "material_package_umid", "file_package_umid"):
        stated = {umid_text(u) for u in re.findall(rf"{word}\s*:\s*(0x[0-9A-F]{{64}})", text)}
        assert stated == {getattr(umids, word.partition("_")[0])}, word
    assert re.search(r"comment_note\s*: soft at the end", text)


def test_pictures_and_sound_stay_as_they_are(bare: Path, tmp_path: Path) -> None:
    path = copy_of(bare, tmp_path, umids_of("a", "A001"))
    assert _packets(path) == _packets(bare)
    assert independent.count(path) == 3 and path.stat().st_size == bare.stat().st_size
    # each frame's system item names the file package: none is left under the old one
    data = path.read_bytes()
    assert data.count(bytes.fromhex(umids_of("a", "A001").file[15:].replace(".", ""))) >= 3 + 5
    assert bytes.fromhex("060a2b340101010501010d0013") + bytes(18) not in data


def _packets(path: Path) -> list[str]:
    with av.open(str(path)) as container:
        return [hashlib.sha256(bytes(p)).hexdigest() for p in container.demux() if p.size]


def test_one_reel_is_one_tape_in_every_file_and_no_clip_is_another(bare: Path, tmp_path: Path) -> None:
    """Five cameras whose timecodes and clip names are alike."""
    found = [
        structure(copy_of(bare, tmp_path, umids_of(f"c-{reel}{n} 01", reel), f"{reel}{n}.mxf")).packages
        for reel in ("A001", "B001", "C001", "D001", "E001")
        for n in (1, 2)
    ]
    assert len({p["material"].umid for p in found}) == len({p["file"].umid for p in found}) == 10
    assert len({p["tape"].umid for p in found}) == 5
    assert not {p["material"].umid for p in found} & {p["file"].umid for p in found}


def test_the_same_clip_gives_the_same_bytes(tmp_path: Path) -> None:
    digests = set()
    for place in ("a", "b"):
        path = movie(tmp_path / place, metadata=mxf_metadata("A001C001", ROW), sound=1)
        set_umids(path, umids_of("a-1 0123", "A001"))
        digests.add(hashlib.sha256(path.read_bytes()).hexdigest())
    assert len(digests) == 1


def test_the_umids_are_what_they_were() -> None:
    """They stand in editors' projects: another version must not give others."""
    assert umids_of("a-1 0123", "A001") == Umids(
        material="urn:smpte:umid:060a2b34.01010105.01010d00.13000000.e775c3f2.6fe15981.ae6f19d5.33ad5e2e",
        file="urn:smpte:umid:060a2b34.01010105.01010d00.13000000.cb358df6.677450b3.99fc89a7.def4568f",
        reel="urn:smpte:umid:060a2b34.01010105.01010d00.13000000.f4b48906.4fb3573c.aa1657e9.d73df4d5",
    )
    assert umids_of("a-1 0123", "").reel == ""


def test_a_clip_without_a_reel_has_no_tape(tmp_path: Path) -> None:
    from movies import segments_of, tags_for
    from rushlight.pipelines.formats.movie_format import MovieFormat
    from rushlight.pipelines.outputs.join_segments import join

    rate, which = FrameRate.parse(25), codec("dnxhr-lb")
    format_ = MovieFormat(
        codec=which, container="mxf", width=256, height=144, rate=rate, tags=tags_for(which)
    )
    path = tmp_path / "a.mxf"
    join(segments_of(tmp_path, which, rate, [2]), [2], path, format_, timecode=Timecode(frames=0, rate=rate))
    umids = umids_of("a", "")
    set_umids(path, umids)
    assert "tape" not in structure(path).packages
    assert check(read_back(path), {"umids": umids, "reel": ""}) == []


@pytest.mark.parametrize("name", [name for name, each in CODECS.items() if "mxf" in each.containers])
def test_every_codec_that_goes_into_mxf(name: str, tmp_path: Path) -> None:
    path = movie(tmp_path, name, frames=2)
    umids = umids_of(name, "A001")
    set_umids(path, umids)
    assert check(read_back(path), {"umids": umids, "frames": 2}) == []
    assert structure(path).packages["tape"].name == "A001"
    assert independent.count(path) == 2


@pytest.mark.parametrize(
    ("rate", "timecode", "start"),
    [
        ("23.976", "10:00:00:00", (864_000, 24, False)),
        ("29.97", "10:00:00:00", (1_080_000, 30, False)),
        ("29.97", "10:00:00;00", (1_078_920, 30, True)),
    ],
)
def test_timecode_of_every_package(
    rate: str, timecode: str, start: tuple[int, int, bool], tmp_path: Path
) -> None:
    path = movie(tmp_path, rate=rate, timecode=timecode, frames=2)
    assert {p.timecode for p in structure(path).packages.values()} == {start}
    assert read_back(path).first_timecode == timecode


def test_a_raster_of_1080_lines_reads_as_1080(tmp_path: Path) -> None:
    """It is stored in 1088 lines, of which 1080 are sampled."""
    path = movie(tmp_path, "dnxhd", frames=1)
    assert (read_back(path).width, read_back(path).height) == (1920, 1080)


@pytest.mark.parametrize(
    "note",
    [
        "x" * 100_000,
        "lägga till 𝄞 \U0001f3ac",
        "two\nlines",
        "nul\0 and half \udc80",
        "\u202egnp.vom",
        "=1+1",
    ],
    ids=["long", "letters", "lines", "broken", "turned", "formula"],
)
def test_whatever_a_note_says_the_movie_is_made(note: str, tmp_path: Path) -> None:
    path = movie(tmp_path, metadata=mxf_metadata("A001C001", {"note": note, "scene": "1"}), frames=1)
    set_umids(path, umids_of("a", "A001"))
    comments = structure(path).packages["material"].comments
    assert comments.keys() == {"note", "scene"} and comments["scene"] == "1"
    assert comments["note"] == read_back(path).metadata["comment_note"]
    if note.isprintable():
        assert comments["note"] == note[:4000]


def test_an_empty_cell_states_nothing() -> None:
    assert mxf_metadata("a", {"scene": " ", "lens": ""}) == {"material_package_name": "a"}


def test_what_ffmpeg_reports_in_the_form_of_the_standard() -> None:
    assert umid_text("0x" + "060A2B34" * 8) == "urn:smpte:umid:" + ".".join(["060a2b34"] * 8)
    assert umid_text("") == umid_text("0x12") == ""


@pytest.mark.parametrize(
    ("spoil", "text"),
    [
        (lambda data: b"", "has no UMID"),
        (lambda data: data[:-10], "ends within"),
        (lambda data: b"\0" + data, "is no MXF"),
        (lambda data: data[:10], "is no MXF"),
    ],
)
def test_what_is_no_whole_mxf_is_refused(spoil: object, text: str, bare: Path, tmp_path: Path) -> None:
    path = tmp_path / "a.mxf"
    assert callable(spoil)
    path.write_bytes(spoil(bare.read_bytes()))
    with pytest.raises(DeliveryError, match=text):
        set_umids(path, umids_of("a", "A001"))


def test_umids_that_are_set_are_not_set_again(bare: Path, tmp_path: Path) -> None:
    """A delivered file's are left alone."""
    path = copy_of(bare, tmp_path, umids_of("a", "A001"))
    before = path.read_bytes()
    with pytest.raises(DeliveryError, match="has no UMID"):
        set_umids(path, umids_of("b", "A001"))
    assert path.read_bytes() == before
