"""Faults that need no structure: of bytes, of the numbers and tags of headers, of words, numbers and lines of text."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from random import Random

Op = Callable[[bytes, Random, Path], bytes]

PLAIN = b"""
    NaN nan Infinity -inf 1e999 -1 0 -0 1e-320 1e300 0.1.2 1,5 9223372036854775808 18446744073709551616 4294967295 0x10
    1_000 +-1 %s%n {clip} { {{0.__class__}} =1+1 <b> true null [] {} " ' \"\"\" # ; , : = -- * ** ? \\ _###.mov ####### CON
    ~ ~root .. ../ ../outside/x @/x @/folder @/pipe @/endless @/loop ./. x/ file://@/x \\\\host\\share C:\\x
    http://localhost:1/ log .work 24000/1001 1/0 0/0 -24 1e9 23:59:59:29 99:99:99:99 00:00:00;00 -00:00:00:01
    2026-02-30 0000-00-00 9999-12-31 +99:99 -14:00 25:61 0001-01-01T00:00:00 5600K -5600K 0K LogC3 ACEScct Linear full
""".split()
ODD = [
    b"\0",
    b"\xef\xbb\xbf",
    b"Caf\xe9",
    b"\xff\xfe",
    b"\xed\xa0\x80",
    b"\r",
    b"\t",
    b"\n",
    b" ",
    b"",
    b"\x1b[31m",
]
ODD += [b"\x1b]0;t\x07", b"\x9b31m", b"0.3 0.0", b"0 0", b"P3-D65 narrow"]
ODD += [text.encode() for text in ("\u202eevil\u202c", "\u2028", "e\u0301", "１２", "\U0001f3ac")]
LONG = [b"1" * 5000, b"A" * 300, b"A" * 100_000, b"a." * 5000, b"1 " * 5000]
WORDS = (*PLAIN, *ODD, *LONG)
WORD = re.compile(rb"[^\s,;:=\"<>{}\[\]()]+")
TAG = re.compile(rb"[A-Za-z\xa9][A-Za-z0-9 _]{3}|\x06\x0e\x2b\x34|II\*\0|MM\0\*")
LENGTHS = (0, 1, 7, 8, 9, 255, 0x7FFF, 0xFFFF, 0x10000, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)


def word(rng: Random, outside: Path) -> bytes:
    return rng.choice(WORDS).replace(b"@", str(outside).encode())


def place(data: bytes, rng: Random) -> int:
    return rng.randrange(len(data) + 1)


# --- bytes


def flips(data: bytes, rng: Random, outside: Path) -> bytes:
    found = bytearray(data)
    for _ in range(rng.choice((1, 1, 4, 32)) if found else 0):
        found[rng.randrange(len(found))] ^= 1 << rng.randrange(8)
    return bytes(found)


def inserts(data: bytes, rng: Random, outside: Path) -> bytes:
    at = place(data, rng)
    return data[:at] + rng.randbytes(rng.choice((1, 2, 4, 100))) + data[at:]


def deletes(data: bytes, rng: Random, outside: Path) -> bytes:
    at = place(data, rng)
    return data[:at] + data[at + rng.choice((1, 2, 4, 100, 1000)) :]


def truncates(data: bytes, rng: Random, outside: Path) -> bytes:
    return data[: rng.choice((0, 1, place(data, rng), place(data, rng), max(0, len(data) - 1)))]


def doubles(data: bytes, rng: Random, outside: Path) -> bytes:
    at, size = place(data, rng), rng.choice((1, 16, 200, 4000))
    return data[:at] + data[at : at + size] * rng.choice((2, 2, 20, 300)) + data[at + size :]


def swaps(data: bytes, rng: Random, outside: Path) -> bytes:
    a, b = sorted((place(data, rng), place(data, rng)))
    size = min(rng.choice((1, 4, 50, 1000)), b - a, len(data) - b)
    return data[:a] + data[b : b + size] + data[a + size : b] + data[a : a + size] + data[b + size :]


def zeroes(data: bytes, rng: Random, outside: Path) -> bytes:
    at, size = place(data, rng), rng.choice((1, 4, 64, 4096))
    part = data[at : at + size]
    return data[:at] + bytes([rng.choice((0, 0, 255))]) * len(part) + data[at + size :]


BYTES: tuple[Op, ...] = (flips, inserts, deletes, truncates, doubles, swaps, zeroes)

# --- headers: numbers and tags of binary files


def spot(data: bytes, rng: Random) -> int:
    """A place in a header: near the beginning or the end, or beside a tag."""
    tags = [m.start() for m in TAG.finditer(data[:65536])] + [
        m.start() + max(0, len(data) - 8192) for m in TAG.finditer(data[-8192:])
    ]
    where = rng.randrange(4)
    if where == 0 or not tags:
        return rng.randrange(min(len(data), 2048) or 1)
    if where == 1:
        return rng.randrange(min(len(data), 128) or 1)
    return max(0, rng.choice(tags) + rng.randrange(-8, 40))


def numbers(data: bytes, rng: Random, outside: Path) -> bytes:
    at, size = spot(data, rng), rng.choice((1, 2, 4, 4, 4, 8))
    number = rng.choice((*LENGTHS, rng.getrandbits(32), len(data))) & ((1 << 8 * size) - 1)
    return data[:at] + number.to_bytes(size, rng.choice(("big", "little"))) + data[at + size :]


def header_flips(data: bytes, rng: Random, outside: Path) -> bytes:
    found = bytearray(data)
    for _ in range(rng.choice((1, 2, 8))):
        at = spot(data, rng)
        if at < len(found):
            found[at] = rng.choice((0, 255, found[at] ^ 1 << rng.randrange(8), rng.randrange(256)))
    return bytes(found)


def tags_renamed(data: bytes, rng: Random, outside: Path) -> bytes:
    tags = sorted(set(TAG.findall(data[:65536] + data[-8192:])))
    if not tags:
        return flips(data, rng, outside)
    old, new = rng.choice(tags), rng.choice((*tags, b"xxxx", b"\xe9\xe9\xe9\xe9", b"\0\0\0\0", b"free"))
    return data.replace(old, new, rng.choice((1, 1, -1)))


def header_words(data: bytes, rng: Random, outside: Path) -> bytes:
    """A word written over a header, as metadata text that is not UTF-8 is."""
    at, what = spot(data, rng), word(rng, outside)[:64]
    return data[:at] + what + data[at + len(what) :]


HEADERS: tuple[Op, ...] = (numbers, numbers, numbers, header_flips, header_flips, tags_renamed, header_words)

# --- words and lines of text


def words_replaced(data: bytes, rng: Random, outside: Path) -> bytes:
    found = list(WORD.finditer(data))
    if not found:
        return data + word(rng, outside)
    one = rng.choice(found)
    return data[: one.start()] + word(rng, outside) + data[one.end() :]


def words_inserted(data: bytes, rng: Random, outside: Path) -> bytes:
    at = place(data, rng)
    return data[:at] + word(rng, outside) + data[at:]


def words_swapped(data: bytes, rng: Random, outside: Path) -> bytes:
    found = list(WORD.finditer(data))
    if len(found) < 2:
        return data
    a, b = sorted(rng.sample(found, 2), key=lambda m: m.start())
    return data[: a.start()] + b[0] + data[a.end() : b.start()] + a[0] + data[b.end() :]


def numbers_changed(data: bytes, rng: Random, outside: Path) -> bytes:
    """A number of a text given another sign, size or digits."""
    found = list(re.finditer(rb"\d{1,15}(\.\d{1,9})?", data))
    if not found:
        return words_replaced(data, rng, outside)
    one = rng.choice(found)
    other = rng.choice(
        (
            *(b"-" + one[0], one[0] * 2, one[0] + b"0", one[0][:-1], one[0] + b"e9", b"0", b"0." + one[0]),
            *(
                str(int(float(one[0])) + rng.choice((-1, 1))).encode(),
                b"%d" % rng.randrange(100),
                one[0] + b".5",
            ),
        )
    )
    return data[: one.start()] + other + data[one.end() :]


def lines_changed(data: bytes, rng: Random, outside: Path) -> bytes:
    lines = data.splitlines(keepends=True)
    if not lines:
        return data
    at, to = rng.randrange(len(lines)), rng.randrange(len(lines))
    match rng.randrange(4):
        case 0:
            del lines[at]
        case 1:
            lines[at : at + 1] = [lines[at]] * rng.choice((2, 3, 200))
        case 2:
            lines[at], lines[to] = lines[to], lines[at]
        case _:
            lines[at] = lines[at].rstrip(b"\r\n") + lines[to]
    return b"".join(lines)


def encoded_otherwise(data: bytes, rng: Random, outside: Path) -> bytes:
    text = data.decode("utf-8", "replace")
    return text.encode(
        rng.choice(("utf-16", "utf-16-le", "utf-8-sig", "utf-32", "utf-7", "cp500")), "replace"
    )


def nested(data: bytes, rng: Random, outside: Path) -> bytes:
    at, deep = place(data, rng), rng.choice((50, 500, 20_000, 200_000))
    left, right = rng.choice(((b"[", b"]"), (b'{"a":', b"}"), (b"<a>", b"</a>"), (b"(", b")"), (b"a.", b"")))
    return data[:at] + left * deep + rng.choice((b"", b"1")) + right * rng.choice((0, deep)) + data[at:]


TEXT: tuple[Op, ...] = (
    *(words_replaced, words_replaced, words_replaced, words_replaced, words_inserted, words_swapped),
    *(lines_changed, lines_changed, numbers_changed, numbers_changed),
)
