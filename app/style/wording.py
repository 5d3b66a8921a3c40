"""Numbers, times and states to words. Pure; no Qt."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Sequence
from typing import Final

from engine.model.messages import Kind
from engine.model.number_text import NO_VALUE, number
from engine.model.snapshot import LogState

NO_LEVEL: Final = NO_VALUE
QUIETEST_SHOWN_LUFS: Final = -60.0

_ORIGINS: Final = {"ltc": "LTC", "ltc free-running": "LTC lost, running on", "file": "file"}

_KIND_GROUPS: Final = {
    Kind.BOOM: "Booms",
    Kind.AMBIENCE: "Ambience",
    Kind.COMMS: "Comms",
    Kind.TIMECODE: "Timecode",
}


def level(level_db: float) -> str:
    """A level as a whole number with a true minus; a dash for no level or one below -60."""
    if math.isnan(level_db) or level_db < QUIETEST_SHOWN_LUFS:
        return NO_LEVEL
    return number(level_db, digits=0)


def level_of(level_db: float) -> str:
    """Any level as a whole number with a true minus."""
    return number(level_db, digits=0)


def lasted(seconds: float) -> str:
    """How long something has lasted: 0:24, 12:05, 1:02:03; never negative."""
    whole = max(0, int(seconds))
    hours, rest = divmod(whole, 3600)
    minutes, secs = divmod(rest, 60)
    return f"{hours}:{minutes:02}:{secs:02}" if hours else f"{minutes}:{secs:02}"


def hours(seconds: float) -> str:
    """A time in which seconds do not count: 3:40 h, 12 min, 0 min."""
    minutes = max(0, int(seconds // 60))
    return f"{minutes // 60}:{minutes % 60:02} h" if minutes >= 60 else f"{minutes} min"


def watching(seconds: float) -> str:
    """Time watched, always with hours: 01:42:10."""
    whole = max(0, int(seconds))
    return f"{whole // 3600:02}:{whole // 60 % 60:02}:{whole % 60:02}"


def origin(timecode_origin: str) -> str:
    """Where the timecode on the screen comes from, short."""
    return _ORIGINS.get(timecode_origin, timecode_origin)


def numbers(tracks: Sequence[int]) -> str:
    """Track numbers as said aloud: 7 + 8; from four on, runs are shortened: 1–4, 9."""
    if len(tracks) < 4:
        return " + ".join(str(n) for n in tracks)
    runs: list[list[int]] = []
    for n in sorted(tracks):
        if runs and n == runs[-1][1] + 1:
            runs[-1][1] = n
        else:
            runs.append([n, n])
    return ", ".join(str(a) if a == b else f"{a}–{b}" for a, b in runs)


def isolate(name: str) -> str:
    """A name written from the right, so that the words around it keep their order.

    Without it "7 + 8" before such a name is read as 8 + 7. Source: Unicode UAX #9, first strong
    isolate.
    """
    from_right = any(unicodedata.bidirectional(letter) in ("R", "AL") for letter in name)
    return f"\u2068{name}\u2069" if from_right else name


def group_name(who: str, kind: Kind) -> str:
    """The heading of a track's group: its `who`, else what the kind is called together."""
    return who or _KIND_GROUPS.get(kind, "")


def healthy_word(kind: Kind, present: bool) -> tuple[str, str]:
    """Word and note of a track with no fault."""
    if present:
        return "live", ""
    if kind is Kind.COMMS:
        return "quiet", "as expected"
    if kind is Kind.UNUSED:
        return "unused", ""
    return "quiet", ""


def covered_by(track: int | None) -> str:
    """'backup 4', or nothing."""
    return "" if track is None else f"backup {track}"


def sentence(text: str) -> str:
    """The text with a capital first and a full stop, as a line of its own."""
    text = text.strip()
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")


def audio_lost(seconds: float) -> str:
    """What the footer says of lost audio."""
    if seconds <= 0:
        return "Audio: nothing lost"
    if seconds < 1:
        return f"Audio: {max(1, round(seconds * 1000))} ms lost"
    return f"Audio: {seconds:.1f} s lost" if seconds < 60 else f"Audio: {lasted(seconds)} lost"


def engine_alive(load: float) -> str:
    """What the footer says of a living engine."""
    return f"Watch: alive, {round(load * 100)} % of a core"


def engine_silent(seconds: float) -> str:
    """What the footer says of an engine that no longer answers."""
    return f"Watch: no answer for {lasted(seconds)}. Nothing is being watched."


def log_saved(log: LogState) -> str:
    """What the footer says of the session log."""
    if log.problem:
        return f"Log: NOT SAVED, {log.waiting} lines in memory: {log.problem}"
    return f"Log: saved {round(log.saved_s)} s ago"


def drift(ppm: float) -> str:
    """How the interface's clock runs against the computer's."""
    return f"Clock: {ppm:+.1f} ppm"


def channels(count: int) -> str:
    """'1 input', '16 inputs'."""
    return "1 input" if count == 1 else f"{count} inputs"
