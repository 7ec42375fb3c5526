"""Decoded pictures of one movie with their numbers, in order of showing, from any number on.

A number comes from the picture's time stamp, or where there is none or it is no guide, from its place in the order of showing. What
a decoder or container leaves out never shifts the numbers behind it.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache
from itertools import chain, islice
from pathlib import Path
from typing import TypeAlias

import av

from rushlight.pipelines.errors import SourceError, from_os
from rushlight.pipelines.formats.media_libraries import open_movie, source_errors, tick_of
from rushlight.pipelines.originals.probe import Facts
from rushlight.pipelines.originals.rotation_and_interlace import is_cut_short

__all__ = ["Item", "Reading"]

# Number, picture, damage. Without a number or a picture: what went wrong ahead of the next one.
Item = tuple[int | None, av.VideoFrame | None, str]
Packet: TypeAlias = "av.Packet[av.VideoStream]"
SLICED = {"prores", "dnxhd"}  # decoded slice by slice: on any number of threads the same pictures and damage
SPOILT = "may be spoilt: it is built on a damaged picture"
DEEPEST = 16  # pictures that H.264 and HEVC may hold back for reordering (ITU-T H.264 annex A, H.265 annex A)


class Reading:
    """One movie, opened read-only. `conform` numbers its pictures by order of showing, whatever their times; `threads`
    share the slices of a picture, of codecs whose result does not depend on it."""

    def __init__(self, facts: Facts, *, conform: bool = False, threads: int = 1) -> None:
        self.facts = facts
        self._threads = threads if facts.codec in SLICED else 1
        self._open()
        self._step = 1 / (facts.rate.fraction * tick_of(self._stream))
        self._stamps = _stamps(facts.path, facts.bytes, facts.mtime_ns) if conform else ()
        intra = self._stream.codec_context.codec.intra_only
        mxf = self._container.format.name == "mxf"
        self._linear = mxf and is_cut_short(facts.path)  # the index is gone: read from the beginning alone
        first = self._first_packets() if mxf and not intra and not conform else []
        stamped = bool(first) and self._stream.codec_context.reorder_depth > 0
        self._counted = stamped and all(p.pts is not None and p.pts == p.dts for p in first)
        self._resyncs = mxf and intra and not self._linear
        self._groups = not intra

    def _open(self) -> None:
        with source_errors(self.facts.path, "does not open"):
            self._container = open_movie(self.facts.path)
        self._stream = self._container.streams.video[0]
        self._stream.thread_type = "NONE" if self._threads == 1 else "SLICE"
        self._stream.codec_context.thread_count = self._threads
        if self.facts.codec == "mjpeg":
            self._stream.codec_context.options = {"err_detect": "explode"}
        self._start = self._stream.start_time or 0

    def close(self) -> None:
        """Let the file go."""
        self._container.close()

    def pictures(self, first: int) -> Iterator[Item]:
        """Pictures from number `first` or a little before it, in order of number."""
        target = self._stamp(first)
        tried = None
        for margin in (None,) if self._linear else (0, 2, 10, None):
            if margin is None:  # not every container can be wound back to its beginning
                self.close()
                self._open()
            else:
                stamp = max(self._start, target - int(margin / tick_of(self._stream)))
                if stamp == tried:
                    continue
                tried = stamp
                try:
                    self._container.seek(stamp, stream=self._stream, backward=True)
                except av.error.FFmpegError:
                    continue
            items = self._in_order(whole=margin is None)
            head = _until_numbered(items)
            reached = next((n for n, _, _ in head if n is not None), None)
            if margin is None or (reached is not None and reached <= first):
                yield from _emptied(head)
                yield from items
                return

    def _in_order(self, *, whole: bool) -> Iterator[Item]:
        items = self._counted_from(self._decoded(), whole=whole) if self._counted else self._decoded()
        return _with_spoilt(items) if self._groups else items

    def _decoded(self) -> Iterator[Item]:
        self._stream.codec_context.flush_buffers()
        shown = 0
        try:
            for packet in self._packets():
                try:
                    images = packet.decode()
                except av.error.FFmpegError as error:
                    shown += 1
                    yield None, None, f"a frame does not decode: {error.strerror or error}"
                    continue
                for image in images:
                    damage = "the decoder reports a damaged picture" if image.is_corrupt else ""
                    yield self._number(image, shown), image, damage
                    shown += 1
        except av.error.FFmpegError as error:
            yield None, None, f"the file cannot be read on: {error.strerror or error}"
        except OSError as error:
            raise from_os(error, self.facts.path, reading=True) from None

    # --- numbers

    def _stamp(self, number: int) -> int:
        if self._stamps:
            return self._stamps[min(number, len(self._stamps) - 1)]
        return self._start + int(number * self._step)

    def _number(self, image: av.VideoFrame, shown: int) -> int:
        if image.pts is None and self._linear:
            return shown
        if image.pts is None:
            raise SourceError("has pictures without a time stamp", file=str(self.facts.path))
        if self._stamps:
            return bisect_left(self._stamps, image.pts)
        return round(Fraction(image.pts - self._start) / self._step)

    def _first_packets(self) -> list[Packet]:
        """Enough packets to tell whether time stamps follow the order of decoding or that of showing, or are none."""
        packets = list(islice(self._container.demux(self._stream), 2 * DEEPEST))
        self.close()
        self._open()
        return [p for p in packets if p.size]

    @staticmethod
    def _counted_from(items: Iterator[Item], *, whole: bool) -> Iterator[Item]:
        """Pictures numbered in order of showing, where `_number` gives places in the order of decoding.

        What is shown before a key picture is everything decoded before it, and of what is decoded after it the
        pictures that come out ahead of it, or are left out because they are built on the group before.
        """
        head = list(islice(items, 0 if whole else 2 * DEEPEST))
        places = [place for place, _, _ in head if place is not None]
        due = 0
        if len(places) < len(head):
            return  # a lost picture here would be taken for one that is shown earlier: begin further ahead
        if places:
            reach = range(places[0], min(places[0] + DEEPEST, max(places)) + 1)
            due = places[0] + sum(place not in places for place in reach)
        recent: list[int] = []
        for place, image, damage in chain(_emptied(head), items):
            if place is None or image is None:
                yield None, None, damage
                continue
            if image.key_frame and recent:
                due = max(due, place + sum(other > place for other in recent))
            yield due, image, damage
            due += 1
            recent = [*recent[-DEEPEST:], place]

    # --- packets

    def _packets(self) -> Iterator[Packet]:
        """The container's packets. A hole in an MXF file loses some, and the demultiplexer counts on as if there had
        been none: after a jump, its index is asked which picture lies here."""
        usual: int | None = None
        end: int | None = None
        packets = self._container.demux(self._stream)
        while (packet := next(packets, None)) is not None:
            if self._resyncs and packet.pos is not None:
                jump = packet.pos - end if end is not None else 0
                if usual is not None and jump > usual + usual // 2 + 1024:
                    packet, packets = self._placed(packet, packet.pos)
                elif end is not None:
                    usual = jump if usual is None else min(usual, jump)
                end = (packet.pos or 0) + packet.size
            yield packet

    def _placed(self, packet: Packet, place: int) -> tuple[Packet, Iterator[Packet]]:
        """The same packet, which lies at `place`, under its true number: the last that the index leads from to here."""
        number = packet.pts or 0
        for later in range(number, number + 1000):
            found, packets = self._at(later)
            if found is None or found.pos is None or found.pos > place:
                break
            number = later if found.pos == place else number
        found, packets = self._at(number)
        return (found, packets) if found is not None and found.pos == place else (packet, packets)

    def _at(self, number: int) -> tuple[Packet | None, Iterator[Packet]]:
        self._container.seek(number, stream=self._stream, backward=True)
        packets = self._container.demux(self._stream)
        return next(packets, None), packets


def _until_numbered(items: Iterator[Item]) -> list[Item]:
    """Items up to the first that has a number; nothing here holds a picture once they are let go."""
    head: list[Item] = []
    for item in items:
        head.append(item)
        if item[0] is not None:
            break
    return head


def _emptied(head: list[Item]) -> Iterator[Item]:
    """Pictures decoded ahead, each let go once it is given: a picture of 3840x2160 is 33 MB."""
    head.reverse()
    while head:
        yield head.pop()


def _with_spoilt(items: Iterator[Item]) -> Iterator[Item]:
    """Names what a damaged picture may have spoilt: all until the next sound key picture, and the pictures between two
    others (B) that are shown just ahead of it. Decoders do not say it."""
    spoilt = False
    held: list[Item] = []
    due: int | None = None
    for number, image, damage in items:
        if number is None or image is None:
            spoilt = True
            yield None, None, damage
            continue
        if image.key_frame and not damage:
            spoilt = False
        absent = due is not None and number > due
        if damage or absent:
            held = [(n, i, d or SPOILT) for n, i, d in held]
            spoilt = spoilt or bool(damage) or not image.key_frame
        due = number + 1
        held.append((number, image, damage or (SPOILT if spoilt else "")))
        if image.pict_type != av.video.frame.PictureType.B:
            yield from held
            held = []
    yield from held


@lru_cache(maxsize=4)
def _stamps(path: Path, size: int, mtime_ns: int) -> tuple[int, ...]:
    """Time stamps of all pictures of a movie in order of showing."""
    with source_errors(path, "does not open"), open_movie(path) as container:
        packets = container.demux(container.streams.video[0])
        return tuple(sorted(p.pts for p in packets if p.size and p.pts is not None and not p.is_discard))
