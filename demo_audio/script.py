"""The story of the demo take as data: roles, places, packs, faults. No sound is made here."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Final

RECIPE_DIR: Final = Path(__file__).parent
RATE_HZ: Final = 48_000
WORLD_HZ: Final = 16_000
"""Everything acoustic happens at this rate; packs and links work at `RATE_HZ`."""
DURATION_S: Final = 100.0
SLOT_S: Final = 4.0
START_TIMECODE_S: Final = 21 * 3600 + 5 * 60
"""The take starts at 21:05:00:00."""
START_DATE: Final = "2026-03-14"
FRAME_RATE: Final = "25"
CODE_DBFS: Final = -18.0
"""Peak level of the timecode track."""
CODE_USER_BITS: Final = 0x14032026
"""The day, as a date is often put into user bits (common practice, no source)."""


class Effort(StrEnum):
    """How loud a line is spoken."""

    SAY = "say"
    CALL = "call"
    SHOUT = "shout"


@dataclass(frozen=True, slots=True)
class Voice:
    """How the speech synthesis makes a role's voice."""

    voice: str
    pitch: float
    stretch: float


@dataclass(frozen=True, slots=True)
class Line:
    """One line; `slot` is its place in its role's FLAC."""

    at_s: float
    who: str
    text: str
    slot: int
    effort: Effort = Effort.SAY


@dataclass(frozen=True, slots=True)
class Script:
    """All voices by role, all lines in order of time."""

    voices: Mapping[str, Voice]
    lines: tuple[Line, ...]


def load_script(path: Path = RECIPE_DIR / "script.toml") -> Script:
    """Read script.toml."""
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    voices = {who: Voice(**v) for who, v in data["voice"].items()}
    spoken = dict.fromkeys(voices, 0)
    lines = []
    for row in data["line"]:
        effort = Effort(row.get("effort", "say"))
        lines.append(Line(row["at_s"], row["who"], row["text"], spoken[row["who"]], effort))
        spoken[row["who"]] += 1
    return Script(voices, tuple(sorted(lines, key=lambda line: line.at_s)))


def track_names(path: Path = RECIPE_DIR / "plan.toml") -> list[str]:
    """The names of the plan's tracks, in input order."""
    tracks = tomllib.loads(path.read_text(encoding="utf-8"))["track"]
    return [t["name"] for t in sorted(tracks, key=lambda t: int(t["input"]))]


@dataclass(frozen=True, slots=True)
class Spot:
    """A place where microphones are, and how the harbour sounds there.

    x_m, y_m : position; wearer : the role who stands there, if any
    place_dbfs : AES17 RMS of the place on a main pack or boom there
    reach_db : how much more than a main pack a microphone there picks up of voices
    mix : relative amplitudes of the sounds of the place
    """

    x_m: float
    y_m: float
    place_dbfs: float
    mix: Mapping[str, float]
    wearer: str = ""
    reach_db: float = 0.0


SPOTS: Final[Mapping[str, Spot]] = {
    "coxswain": Spot(
        0.0, 0.0, -54.0, {"wind": 1.0, "engine": 0.8, "water": 0.5, "halyard": 0.15}, "coxswain"
    ),
    "mechanic": Spot(4.5, 1.0, -52.5, {"engine": 1.0, "wind": 0.8, "water": 0.6}, "mechanic"),
    "navigator": Spot(
        1.5, 4.5, -56.0, {"wind": 1.0, "engine": 0.6, "water": 0.4, "halyard": 0.2}, "navigator"
    ),
    "casualty": Spot(
        14.0, 3.0, -56.0, {"water": 1.0, "wind": 0.6, "crowd": 0.3, "gulls": 0.1}, "casualty"
    ),
    "boom slipway": Spot(
        13.0,
        2.2,
        -50.5,
        {"water": 1.0, "wind": 0.5, "crowd": 0.5, "gulls": 0.2, "halyard": 0.1},
        reach_db=13.0,
    ),
    "boom deck": Spot(
        0.8,
        1.6,
        -50.0,
        {"engine": 0.8, "water": 0.8, "wind": 0.6, "crowd": 0.3, "halyard": 0.2},
        reach_db=11.0,
    ),
    "quay": Spot(
        22.0,
        16.0,
        -37.0,
        {"crowd": 1.0, "water": 0.4, "wind": 0.3, "gulls": 0.25, "halyard": 0.12, "engine": 0.2},
        reach_db=6.0,
    ),
}


@dataclass(frozen=True, slots=True)
class Pack:
    """A transmitter or line between a spot and an input.

    gain_db : against a main pack; lag_s : later than the main, by its placement
    treble_db : what clothing takes away (or adds) above about 2.5 kHz
    hiss_dbfs : AES17 RMS of its own steady electronics noise
    ceiling_dbfs : where its input overloads
    rustles : clothing and breath of a wearer reach it
    """

    input: int
    spot: str
    gain_db: float = 0.0
    lag_s: float = 0.0
    treble_db: float = 0.0
    hiss_dbfs: float = -84.0
    ceiling_dbfs: float = 0.0
    rustles: bool = False


def _pair(first: int, who: str, lag_ms: float, main_db: float, safety_db: float) -> list[Pack]:
    main = Pack(first, who, treble_db=main_db, ceiling_dbfs=-2.1, rustles=True)
    return [
        main,
        Pack(
            first + 1,
            who,
            gain_db=-12.0,
            lag_s=lag_ms / 1000.0,
            treble_db=safety_db,
            hiss_dbfs=-90.0,
            rustles=True,
        ),
    ]


PACKS: Final[tuple[Pack, ...]] = (
    *_pair(1, "coxswain", 0.75, 0.0, -4.0),
    *_pair(3, "mechanic", 0.69, 1.0, -2.0),
    *_pair(5, "navigator", 0.81, 1.5, -2.0),
    *_pair(7, "casualty", 0.63, -3.0, -5.0),
    Pack(9, "boom slipway", hiss_dbfs=-78.0),
    Pack(10, "boom deck", hiss_dbfs=-78.0),
    Pack(11, "quay", hiss_dbfs=-76.0),
)
TALKBACK: Final = Pack(12, "control", hiss_dbfs=-90.0)


@dataclass(frozen=True, slots=True)
class Stretch:
    """A fault on one track, or a harmless stretch that must not be called that fault.

    `kind` is the program's word for the fault. A `clipped` stretch names the shouts; where the
    flat tops begin and end is read from the rendered sound.
    """

    track: int
    kind: str
    onset_s: float
    end_s: float
    remark: str


FAULTS: Final[tuple[Stretch, ...]] = (
    Stretch(5, "muted", 11.5, 19.0, "the pack's mute switch is knocked on, then found"),
    Stretch(9, "dead_mic", 25.0, 66.0, "phantom power goes; only electronics noise is left"),
    Stretch(3, "clipped", 46.0, 60.0, "shouts overload the pack's input; pack 4 stays clean"),
)

HARMLESS: Final[tuple[Stretch, ...]] = (
    Stretch(7, "silent", 32.0, 66.0, "a performer says nothing; breath, cloth and water go on"),
    Stretch(8, "silent", 32.0, 66.0, "the same performer's safety pack"),
    Stretch(12, "silent", 0.0, 100.0, "talkback: line noise at about -90 dBFS between few calls"),
    Stretch(4, "clipped", 46.0, 60.0, "loud voices, but 12 dB lower: no flat tops"),
)
