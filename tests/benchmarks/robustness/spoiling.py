"""Ways to spoil bytes and texts, aimed at what a reader might trust: sizes, counts, names, ends."""

from __future__ import annotations

import random
import struct
from collections.abc import Callable, Sequence
from typing import Final

HEAD_BYTES: Final = 300
LONGEST: Final = 1 << 18
"""No way to spoil makes a file longer than this."""

_NUMBERS: Final = (
    *(0, 1, 2, 3, 7, 8, 15, 16, 24, 32, 100, 255, 256, 1000, 1023, 1024, 1025, 8000, 48000, 768000),
    *((1 << 15) - 1, 1 << 15, (1 << 16) - 1, 1 << 16, (1 << 31) - 1, 1 << 31, (1 << 32) - 9),
    *((1 << 32) - 2, (1 << 32) - 1, 1 << 32, 1 << 36, (1 << 63) - 1, 1 << 63, (1 << 64) - 1),
)
_WIDTHS: Final = ("B", "H", "I", "Q")

TAKE_WORDS: Final = (
    *(b"RIFF", b"RF64", b"BW64", b"WAVE", b"data", b"fmt ", b"ds64", b"bext", b"iXML", b"JUNK"),
    *(b"fLaC", b"\xff\xf8", b"\x00\x00\xc0\x7f", b"\x00\x00\x80\x7f", b"\xff\xff\xff\x7f"),
    *(b"<TRACK>", b"</TRACK>", b"<NAME>", b"</BWFXML>", b"<!DOCTYPE a [<!ENTITY b 'cc'>]>", b"&b;"),
    *(
        b"<INTERLEAVE_INDEX>-1</INTERLEAVE_INDEX>",
        b"\x1b[31m",
        b"\xe2\x80\xae",
        b"&#0;",
        b"\xff\xfe",
    ),
)

_PLAN_WORDS: Final = (
    "[[track]]|[track]|[take]|[limits.lav]|[limits.boom]|[track.limits]|input = |input = -1|input|"
    '1e400|-0.0|nan|inf|-inf|9223372036854775808|0x7fffffffffffffff|1_0|01|true|""|\'\'\'|"""|'
    "\"|'|\\|\\u0000|\\U0010ffff|\\ud800|\u202e|\ufeff|\x00|\x1b[31m|\u2028|\r|\n|\t|#|=|.|,|{|}|[|]|"
    '1979-05-27T07:32:00Z|9999-12-31|07:32|kind = "ambience"|kind = "timecode"|'
    'rolling = "timecode"|level = "safety"|who = "Ringer"|battery = "9999h"|'
    'frame_rate = "29.97df"|silent_red_s = 0|muted = "off"|presence_dbfs = inf|'
    "<script>alert(1)</script>|__class__|{0}|%s|\N{SMILING FACE WITH SUNGLASSES}|e\u0301"
)
PLAN_WORDS: Final = tuple(_PLAN_WORDS.split("|"))


def _place(chance: random.Random, data: bytearray) -> int:
    """Mostly in the head, where the sizes are, sometimes at the end, else anywhere."""
    kind = chance.random()
    if kind < 0.6:
        return chance.randrange(min(len(data), HEAD_BYTES) + 1)
    if kind < 0.75:
        return max(len(data) - chance.randrange(64), 0)
    return chance.randrange(len(data) + 1)


def _flip(chance: random.Random, data: bytearray) -> None:
    at = _place(chance, data)
    if at < len(data):
        data[at] ^= 1 << chance.randrange(8)


def _set_byte(chance: random.Random, data: bytearray) -> None:
    at = _place(chance, data)
    data[at : at + 1] = bytes([chance.randrange(256)])


def _set_number(chance: random.Random, data: bytearray) -> None:
    order, width = chance.choice("<>"), chance.choice(_WIDTHS)
    size = struct.calcsize(width)
    number = chance.choice(_NUMBERS) % (1 << (8 * size))
    at = _place(chance, data)
    if chance.random() < 0.7:
        at -= at % 2  # the fields of a RIFF header lie so
    data[at : at + size] = struct.pack(order + width, number)


def _nudge_number(chance: random.Random, data: bytearray) -> None:
    at = _place(chance, data)
    if at + 4 <= len(data):
        number = struct.unpack_from("<I", data, at)[0] + chance.choice((-4, -2, -1, 1, 2, 4, 4096))
        struct.pack_into("<I", data, at, number % (1 << 32))


def _cut(chance: random.Random, data: bytearray) -> None:
    del data[_place(chance, data) :]


def _drop(chance: random.Random, data: bytearray) -> None:
    at = _place(chance, data)
    del data[at : at + chance.choice((1, 2, 4, 8, 16, chance.randrange(1, 500)))]


def _repeat(chance: random.Random, data: bytearray) -> None:
    at, length = _place(chance, data), chance.choice((1, 4, 8, 24, chance.randrange(1, 500)))
    data[at:at] = data[at : at + length] * chance.choice((1, 1, 2, 20))


def _noise(chance: random.Random, data: bytearray) -> None:
    at, length = _place(chance, data), chance.choice((1, 2, 4, 12, 64))
    data[at : at + chance.choice((0, length))] = chance.randbytes(length)


def _fill(chance: random.Random, data: bytearray) -> None:
    at, length = _place(chance, data), chance.choice((4, 16, 200))
    data[at : at + length] = bytes([chance.choice((0, 0x20, 0x7F, 0xFF))]) * length


_WAYS: Final[tuple[Callable[[random.Random, bytearray], None], ...]] = (
    *(_flip, _set_byte, _set_number, _set_number, _set_number, _nudge_number),
    *(_cut, _drop, _repeat, _noise, _fill),
)


def spoil(chance: random.Random, content: bytes, words: Sequence[bytes]) -> bytes:
    """The content spoiled in one to eight ways; `words` are put in or over other bytes."""
    data = bytearray(content)
    for _ in range(chance.choice((1, 1, 1, 2, 2, 3, 5, 8))):
        if chance.random() < 0.15:
            word, at = chance.choice(words), _place(chance, data)
            data[at : at + chance.choice((0, len(word)))] = word
        else:
            chance.choice(_WAYS)(chance, data)
    return bytes(data[:LONGEST])


def _line_dropped(chance: random.Random, lines: list[str]) -> None:
    del lines[chance.randrange(len(lines))]


def _line_repeated(chance: random.Random, lines: list[str]) -> None:
    at = chance.randrange(len(lines))
    lines[at:at] = lines[at : at + chance.choice((1, 1, 5))] * chance.choice((1, 1, 2, 40))


def _lines_swapped(chance: random.Random, lines: list[str]) -> None:
    one, other = chance.randrange(len(lines)), chance.randrange(len(lines))
    lines[one], lines[other] = lines[other], lines[one]


def _value_changed(chance: random.Random, lines: list[str]) -> None:
    at = chance.randrange(len(lines))
    key, sign, value = lines[at].partition("=")
    if sign:
        word = chance.choice(PLAN_WORDS)
        value = chance.choice((word, f'"{word}"', f"[{word}]", f"{{ a = {word} }}", value * 2))
        lines[at] = f"{key}= {value}"


def _word_put_in(chance: random.Random, lines: list[str]) -> None:
    at, word = chance.randrange(len(lines)), chance.choice(PLAN_WORDS)
    place = chance.randrange(len(lines[at]) + 1)
    lines[at] = lines[at][:place] + word + lines[at][place:]


def _nested(chance: random.Random, lines: list[str]) -> None:
    deep = chance.choice((3, 50, 900))
    lines.insert(chance.randrange(len(lines)), "a = " + "[" * deep + "]" * deep)


def _grown(chance: random.Random, lines: list[str]) -> None:
    lines[chance.randrange(len(lines))] += chance.choice(PLAN_WORDS) * chance.choice((30, 900))


_PLAN_WAYS: Final[tuple[Callable[[random.Random, list[str]], None], ...]] = (
    *(_line_dropped, _line_repeated, _lines_swapped, _value_changed, _value_changed),
    *(_word_put_in, _word_put_in, _nested, _grown),
)


def spoil_plan(chance: random.Random, text: str) -> bytes:
    """A plan's text spoiled line by line, some also byte by byte."""
    lines = text.split("\n")
    for _ in range(chance.choice((1, 1, 1, 2, 2, 3, 6))):
        if lines:
            chance.choice(_PLAN_WAYS)(chance, lines)
    code = "utf-16" if chance.random() < 0.01 else "utf-8"
    data = "\n".join(lines).encode(code, "surrogatepass")
    if chance.random() < 0.25:
        data = spoil(chance, data, [word.encode("utf-8", "surrogatepass") for word in PLAN_WORDS])
    return data[:LONGEST]
