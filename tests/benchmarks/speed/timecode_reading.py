"""How well and how cheaply timecode is read.

python -m tests.benchmarks.speed timecode
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Final

from engine.timecode.ltc_decoder import LtcDecoder
from tests.references import libltc
from tests.support.timecode_signals import Sound, code, decoded, humming, narrow, noisy, share_right

START: Final = "10:00:00:00"
FRAMES: Final = 1500
WORDS: Final = ("23.976", "25", "29.97df", "30")
WOW: Final = ((0.01, 0.8), (0.003, 8.0))

Make = Callable[[str, int], Sound]


def _plain(word: str, rate_hz: int) -> Sound:
    return code(word, START, FRAMES, rate_hz)


def _with_wow(word: str, rate_hz: int) -> Sound:
    return code(word, START, FRAMES, rate_hz, wow=WOW)


def _worst(word: str, rate_hz: int) -> Sound:
    sound = code(word, START, FRAMES, rate_hz, wow=WOW, level_dbfs=-40.0)
    return humming(noisy(narrow(sound, rate_hz, 100.0, 5000.0), 20.0), rate_hz, 10.0)


LINES: Final[tuple[tuple[str, Make], ...]] = (
    ("clean", _plain),
    ("20 dB signal to noise", lambda w, r: noisy(_plain(w, r), 20.0)),
    ("12 dB", lambda w, r: noisy(_plain(w, r), 12.0)),
    ("8 dB", lambda w, r: noisy(_plain(w, r), 8.0)),
    ("hum as loud as the code, 20 dB", lambda w, r: humming(noisy(_plain(w, r), 20.0), r, 0.0)),
    ("100 Hz to 2.5 kHz, 20 dB", lambda w, r: noisy(narrow(_plain(w, r), r, 100, 2500), 20.0)),
    ("300 Hz to 3.4 kHz, 20 dB", lambda w, r: noisy(narrow(_plain(w, r), r, 300, 3400), 20.0)),
    ("wow 1.3 %, 20 dB", lambda w, r: noisy(_with_wow(w, r), 20.0)),
    ("all of it at -40 dBFS", _worst),
)


def main() -> None:
    """Print two tables."""
    print(f"frames read right, % of {FRAMES - 1}, at 48 kHz; in brackets libltc's decoder")
    print(f"{'':34}" + "".join(f"{word:>20}" for word in WORDS))
    for name, make in LINES:
        cells = []
        for word in WORDS:
            sound = make(word, 48_000)
            ours = share_right(decoded(sound, 48_000), word, START, FRAMES)
            theirs = len(libltc.decode(sound, 48_000, 25 if word == "25" else 30)) / (FRAMES - 1)
            cells.append(f"{100 * ours:11.2f} ({min(100 * theirs, 100):5.1f})")
        print(f"{name:34}" + "".join(f"{cell:>20}" for cell in cells))
    print("\nCPU time to decode one track, % of a core (30 frames a second, 20 dB)")
    for rate_hz in (44_100, 48_000, 96_000, 192_000):
        sound = noisy(code("30", START, FRAMES, rate_hz), 20.0)
        decoder, tick = LtcDecoder(rate_hz), rate_hz // 10
        begun = time.process_time()
        for start in range(0, len(sound), tick):
            decoder.update(sound[start : start + tick])
        share = (time.process_time() - begun) / (len(sound) / rate_hz)
        print(f"{rate_hz:>8} Hz {100 * share:6.2f}")
