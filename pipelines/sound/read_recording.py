"""The header of one sound file, read: WAV, BWF, RF64 and BW64 by ourselves, FLAC and MOV or MP4 through FFmpeg.

Only heads of chunks, `bext` and `iXML` are read: a file of many gigabytes costs as much as a small one.
"""

from __future__ import annotations

import datetime
import os
import struct
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from rushlight.pipelines.errors import SourceError
from rushlight.pipelines.formats.media_libraries import open_movie, source_errors, tick_of
from rushlight.pipelines.formats.mp4_boxes import timecode_track_rate
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.sound.bext import Bext, parse_bext
from rushlight.pipelines.sound.ixml import LONGEST, IXml, Track, parse_ixml
from rushlight.pipelines.sound.recording import Clock, Recording, exact_hertz
from rushlight.pipelines.sound.riff_chunks import Riff, chunk_bytes, read_riff
from rushlight.pipelines.visible_text import visible

if TYPE_CHECKING:
    from av import AudioStream
    from av.container import InputContainer

__all__ = ["SUFFIXES", "read_recording"]

WAVES = frozenset((".wav", ".wave", ".bwf", ".rf64", ".bw64"))
SUFFIXES = WAVES | {".flac", ".mov", ".mp4", ".m4a"}
MOST_BEXT, MOST_IXML = 1_000_000, 4_000_000
MOST_CHANNELS = 256
_FLOAT, _EXTENSIBLE = 3, 0xFFFE
_CODECS = {(1, 1): "pcm_u8", (1, 2): "pcm_s16le", (1, 3): "pcm_s24le", (1, 4): "pcm_s32le"}
_CODECS |= {(_FLOAT, 4): "pcm_f32le", (_FLOAT, 8): "pcm_f64le"}


def read_recording(path: Path) -> Recording:
    """Read the header of one sound file. SourceError naming it where it is missing, no sound file, or in a
    codec that is not read."""
    with source_errors(path, "its header cannot be read"):
        try:
            return _read(path)
        except SourceError as error:
            raise error.at(file=str(path)) from None


def _read(path: Path) -> Recording:
    if not path.is_file():
        raise SourceError("there is no such sound file" if not path.exists() else "is no file")
    with path.open("rb", buffering=0) as stream:
        info = os.fstat(stream.fileno())
        start = stream.read(4)
        if info.st_size == 0:
            raise SourceError("is empty")
        if start in (b"RIFF", b"RF64", b"BW64"):
            return _wave(path, stream, info)
        chunks = _flac_chunks(stream) if start == b"fLaC" else {}
    if path.suffix.lower() in WAVES:
        raise SourceError("is no WAV file: it does not begin with RIFF, RF64 or BW64")
    return _other(path, info, chunks)


# --- WAV


def _wave(path: Path, stream: BinaryIO, info: os.stat_result) -> Recording:
    riff = read_riff(stream, info.st_size)
    codec, rate, channels, block = _format(stream, riff)
    samples = riff.data.size // block
    notes = list(riff.notes)
    if riff.stated is not None and riff.stated > riff.data.size:
        notes[-1:] = [f"is cut off: {samples} of {riff.stated // block} samples are there"]
    bext_at, ixml_at = riff.first("bext"), riff.first("iXML")
    bext = parse_bext(chunk_bytes(stream, bext_at, MOST_BEXT)) if bext_at else None
    ixml = parse_ixml(chunk_bytes(stream, ixml_at, MOST_IXML)) if ixml_at else None
    plain = Recording(
        path=path,
        bytes=info.st_size,
        mtime_ns=info.st_mtime_ns,
        form=riff.form,
        codec=codec,
        sample_rate=rate,
        channels=channels,
        samples=samples,
        data_start=riff.data.start,
        block=block,
        clock=Clock(stamp_rate=exact_hertz(rate), digitizer_rate=exact_hertz(rate)),
        notes=tuple(notes),
    )
    return _described(plain, bext, ixml)


def _format(stream: BinaryIO, riff: Riff) -> tuple[str, int, int, int]:
    """Codec, sample rate, channels and bytes a block of a WAV file."""
    chunk = riff.first("fmt ")
    raw = chunk_bytes(stream, chunk, 64) if chunk else b""
    if len(raw) < 16:
        raise SourceError("has no whole `fmt ` chunk: what its samples are is not said")
    tag, channels, rate, _, block, bits = struct.unpack_from("<HHIIHH", raw)
    if tag == _EXTENSIBLE and len(raw) >= 26:
        tag = struct.unpack_from("<H", raw, 24)[0]
    if not 1 <= channels <= MOST_CHANNELS or not 4000 <= rate <= 1_536_000:
        raise SourceError(f"states {channels} channels at {rate} Hz: its `fmt ` chunk is damaged")
    width = block // channels if block and block % channels == 0 else (bits + 7) // 8
    codec = _CODECS.get((tag, width))
    if codec is None:
        raise SourceError(
            f"holds sound of a kind that is not read here: format {tag} of {bits} bits; give PCM"
        )
    return codec, rate, channels, width * channels


# --- FLAC, MOV and MP4


def _flac_chunks(stream: BinaryIO) -> dict[str, bytes]:
    """bext and iXML that a FLAC file keeps of the WAV file it was made from, in APPLICATION blocks `riff` (RFC 9639, 8.4 and
    its registry of application identifiers)."""
    found: dict[str, bytes] = {}
    for _ in range(1000):
        head = stream.read(4)
        if len(head) < 4:
            break
        kind, size = head[0], int.from_bytes(head[1:], "big")
        if kind & 127 == 2 and size <= MOST_IXML:
            body = stream.read(size)
            if body[:4] == b"riff" and len(body) >= 12:
                found.setdefault(body[4:8].decode("latin-1").strip().lower(), body[12:])
        else:
            stream.seek(size, os.SEEK_CUR)
        if kind & 128:
            break
    return found


def _other(path: Path, info: os.stat_result, chunks: dict[str, bytes]) -> Recording:
    """A FLAC, MOV or MP4 file: one sound stream, or several of one rate that begin together."""
    with source_errors(path, "does not open for sound"), open_movie(path) as container:
        streams = [s for s in container.streams.audio if s.codec_context and s.codec_context.sample_rate]
        if not streams:
            raise SourceError("holds no sound that is read here")
        rates = {s.codec_context.sample_rate for s in streams}
        if len(rates) > 1:
            raise SourceError(f"has tracks of different sample rates ({', '.join(map(str, sorted(rates)))})")
        rate, channels = rates.pop(), sum(s.codec_context.layout.nb_channels for s in streams)
        if not 1 <= channels <= MOST_CHANNELS:
            raise SourceError(f"states {channels} channels: its header is damaged")
        samples = max(_length(container, s, rate) for s in streams)
        said = {k.lower(): v for s in container.streams for k, v in s.metadata.items() if v}
        said |= {k.lower(): v for k, v in container.metadata.items() if v}
        names = [n for s in streams for n in _names(s)]
        timecode, frames = _stated_timecode(path, container, said)
        form, codec = "FLAC" if "flac" in container.format.name else "MOV", streams[0].codec_context.name
    exact = exact_hertz(rate)
    reference = _whole(said.get("time_reference", ""))
    clock = Clock(stamp_rate=exact, digitizer_rate=exact, timecode_rate=frames)
    if reference is None and timecode is not None and frames is not None:
        reference = round(timecode.frames * exact / frames)
        clock = replace(clock, drop=timecode.drop)
    plain = Recording(
        path=path,
        bytes=info.st_size,
        mtime_ns=info.st_mtime_ns,
        form=form,
        codec=codec,
        sample_rate=rate,
        channels=channels,
        samples=samples,
        time_reference=reference,
        clock=clock,
        date=said.get("date", "")[:10] or said.get("creation_time", "")[:10],
        scene=_clean(said.get("scene", "")),
        take=_clean(said.get("take", "")),
        roll=_clean(said.get("tape", "") or said.get("reel_name", "")),
        tracks=tuple(Track(place=k, channel=k, name=_clean(n)) for k, n in enumerate(names, 1)),
    )
    bext = parse_bext(chunks["bext"]) if "bext" in chunks else None
    return _described(plain, bext, parse_ixml(chunks["ixml"]) if "ixml" in chunks else None)


def _length(container: InputContainer, stream: AudioStream, rate: int) -> int:
    if stream.duration:
        return max(0, round(Fraction(stream.duration) * tick_of(stream) * rate))
    return max(0, round(Fraction(container.duration or 0, 1_000_000) * rate))


def _names(stream: AudioStream) -> Iterator[str]:
    """A name for each channel of a stream: its title, or what its handler is called."""
    count = stream.codec_context.layout.nb_channels
    name = stream.metadata.get("title") or stream.metadata.get("handler_name", "")
    plain = "" if name.strip("\0 ").lower() in ("soundhandler", "core media audio") else name
    return iter([plain] * count if count == 1 else [f"{plain} {k}".strip() for k in range(1, count + 1)])


def _stated_timecode(
    path: Path, container: InputContainer, said: dict[str, str]
) -> tuple[Timecode | None, Fraction | None]:
    """The timecode of a movie's timecode track (or a comment TIMECODE), and its rate where a track states one."""
    text = next((s.metadata["timecode"] for s in container.streams if s.metadata.get("timecode")), "")
    text = text or said.get("timecode", "")
    rate = timecode_track_rate(path) or next(
        (Fraction(s.average_rate) for s in container.streams.video if s.average_rate), None
    )
    if not text or rate is None or not 1 <= rate <= 1000:
        return None, None
    return Timecode.parse(text, FrameRate(fraction=rate)), rate


def _whole(text: str) -> int | None:
    return int(text) if text.isdecimal() and len(text) < 20 else None


# --- what bext and iXML say of it


def _described(plain: Recording, bext: Bext | None, ixml: IXml | None) -> Recording:
    """The record with what its chunks state; where both state something, iXML's is taken (its Usage Guidelines)."""
    bext, ixml = bext or Bext(), ixml or IXml()
    notes = [*plain.notes, *bext.notes, *ixml.notes]
    reference = _reference(plain, bext, ixml, notes)

    def text(key: str, given: str) -> str:
        return _clean(ixml[key] or bext.described.get(key, "") or given)

    return replace(
        plain,
        time_reference=reference,
        clock=_clock(plain, bext, ixml),
        date=_date(bext.date or plain.date),
        scene=text("SCENE", plain.scene),
        take=text("TAKE", plain.take),
        roll=text("TAPE", plain.roll),
        project=text("PROJECT", ""),
        note=text("NOTE", ""),
        circled=ixml.circled,
        wild=ixml.wild,
        no_good=ixml.no_good,
        false_start=ixml.false_start,
        family=_clean(ixml.family),
        tracks=_tracks(plain, ixml, bext, notes),
        notes=tuple(dict.fromkeys(_clean(note) for note in notes)),
    )


def _reference(plain: Recording, bext: Bext, ixml: IXml, notes: list[str]) -> int | None:
    stamp, reference = ixml.stamp, bext.time_reference
    if reference is None and stamp is None:
        return plain.time_reference
    if stamp and reference and stamp != reference:
        notes.append(
            f"its bext begins at sample {reference} of the day and its iXML at {stamp}; iXML's is taken"
        )
    return stamp or reference or 0


def _clock(plain: Recording, bext: Bext, ixml: IXml) -> Clock:
    from rushlight.pipelines.sound.ixml import parse_speed

    rate, drop = ixml.timecode_rate, ixml.drop
    if rate is None and plain.clock.timecode_rate is None:
        rate, flag = parse_speed(bext.described.get("SPEED", ""))
        drop = flag if drop is None else drop
    stamp = exact_hertz(ixml.stamp_rate) if ixml.stamp_rate else plain.hertz
    known = ixml.digitizer_rate or ixml.stamp_rate
    return Clock(
        stamp_rate=stamp,
        digitizer_rate=exact_hertz(known) if known else plain.hertz,
        timecode_rate=rate or plain.clock.timecode_rate,
        drop=drop if drop is not None else plain.clock.drop,
    )


def _tracks(plain: Recording, ixml: IXml, bext: Bext, notes: list[str]) -> tuple[Track, ...]:
    """One track a channel of the file: iXML's by their INTERLEAVE_INDEX, else the description's, else without a name."""
    named = {track.place: track for track in reversed(ixml.tracks)}
    if ixml.tracks and set(named) != set(range(1, plain.channels + 1)):
        notes.append(f"its iXML lists {len(ixml.tracks)} tracks for {plain.channels} channels")
    given = {track.place: track for track in plain.tracks}
    found = []
    for place in range(1, plain.channels + 1):
        track = named.get(place) or given.get(place) or Track(place=place, channel=place)
        name = track.name or bext.described.get(f"TRK{place}", "")
        found.append(replace(track, name=_clean(name), function=_clean(track.function)))
    return tuple(found)


def _date(text: str) -> str:
    """yyyy-mm-dd: the standard allows several signs between the numbers. Empty for what is no date."""
    digits = "".join(c if c.isdigit() else "-" for c in text)
    try:
        return datetime.date.fromisoformat(digits).isoformat() if len(digits) == 10 else ""
    except ValueError:
        return ""


def _clean(text: str) -> str:
    """Text from a file as it may be shown and written: on one line, what is hidden written out, not too long."""
    return visible(" ".join(text.split()))[:LONGEST]
