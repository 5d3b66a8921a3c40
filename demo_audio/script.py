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
TITLE: Final = "Raising the bell"
DURATION_S: Final = 110.0
SLOT_S: Final = 4.0
START_TIMECODE_S: Final = 19 * 3600 + 30 * 60
"""The take starts at 19:30:00:00."""
START_DATE: Final = "2026-09-12"
FRAME_RATE: Final = "25"
CODE_DBFS: Final = -18.0
"""Peak level of the timecode track."""
CODE_USER_BITS: Final = 0x12092026
"""The day, as a date is often put into user bits (common practice, no source)."""


class Effort(StrEnum):
    """How loud a line is spoken."""

    SAY = "say"
    CALL = "call"


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
    """A place where microphones are, and how the site sounds there.

    x_m, y_m : position; wearer : the role who stands there, if any
    place_dbfs : AES17 RMS of the place on a main pack or boom there
    reach_db : how much more than a main pack a microphone there picks up of voices
    stroke_dbfs : sample peak of a stroke of the bell on a main pack there
    mix : relative amplitudes of the sounds of the place
    """

    x_m: float
    y_m: float
    place_dbfs: float
    stroke_dbfs: float
    mix: Mapping[str, float]
    wearer: str = ""
    reach_db: float = 0.0


SPOTS: Final[Mapping[str, Spot]] = {
    "foreman": Spot(
        0.0, 0.0, -54.0, -11.0, {"wind": 1.0, "winch": 0.6, "sheet": 0.6, "chain": 0.15}, "foreman"
    ),
    "rigger": Spot(
        4.0, 1.0, -53.0, 5.0, {"winch": 0.9, "wind": 0.8, "sheet": 0.6, "chain": 0.2}, "rigger"
    ),
    "signaller": Spot(
        9.0, 12.0, -54.5, -24.0, {"crowd": 0.8, "wind": 0.7, "winch": 0.3}, "signaller"
    ),
    "ringer": Spot(
        2.5, 4.5, -56.5, -10.0, {"wind": 0.8, "sheet": 0.4, "winch": 0.4, "jackdaws": 0.1}, "ringer"
    ),
    "mason": Spot(6.0, 4.0, -55.5, -12.0, {"wind": 1.0, "sheet": 0.7, "winch": 0.4}, "mason"),
    "boom scaffold": Spot(
        2.0,
        1.6,
        -50.0,
        -10.0,
        {"winch": 0.8, "wind": 0.7, "sheet": 0.6, "crowd": 0.3, "chain": 0.15},
        reach_db=12.0,
    ),
    "belfry": Spot(
        3.0,
        5.5,
        -43.0,
        -9.0,
        {"wind": 0.8, "sheet": 0.5, "jackdaws": 0.25, "crowd": 0.4, "winch": 0.3},
        reach_db=9.0,
    ),
    "square left": Spot(
        21.0,
        16.0,
        -38.0,
        -21.0,
        {"crowd": 1.0, "wind": 0.35, "jackdaws": 0.15, "winch": 0.1},
        reach_db=6.0,
    ),
    "square right": Spot(
        27.0,
        13.0,
        -38.5,
        -22.0,
        {"crowd": 1.0, "wind": 0.35, "jackdaws": 0.1, "winch": 0.1},
        reach_db=6.0,
    ),
}

BELL_M: Final = (4.5, 1.6)
"""Where the bell comes to hang."""
STROKES_S: Final = (97.4, 100.2, 103.0, 105.8)
SOFT_DB: Final = -14.0
"""The healthy take has the same strokes this much softer."""


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


def _worn(number: int, who: str, treble_db: float) -> Pack:
    return Pack(number, who, treble_db=treble_db, ceiling_dbfs=-2.1, rustles=True)


def _safety(number: int, who: str, lag_ms: float, treble_db: float) -> Pack:
    return Pack(
        number,
        who,
        gain_db=-12.0,
        lag_s=lag_ms / 1000.0,
        treble_db=treble_db,
        hiss_dbfs=-90.0,
        rustles=True,
    )


PACKS: Final[tuple[Pack, ...]] = (
    _worn(1, "foreman", 0.0),
    _safety(2, "foreman", 0.75, -4.0),
    _worn(3, "rigger", 1.0),
    _safety(4, "rigger", 0.69, -2.0),
    _worn(5, "signaller", 1.0),
    _worn(6, "ringer", -2.0),
    _worn(7, "mason", -1.0),
    Pack(8, "boom scaffold", hiss_dbfs=-78.0),
    Pack(9, "belfry", hiss_dbfs=-78.0),
    Pack(10, "square left", hiss_dbfs=-76.0),
    Pack(11, "square right", hiss_dbfs=-76.0),
)
RADIO: Final = Pack(12, "crane", hiss_dbfs=-90.0)
SPARE: Final = Pack(13, "spare", hiss_dbfs=-108.0)


@dataclass(frozen=True, slots=True)
class Stretch:
    """A fault on one track, or a harmless stretch that must not be called that fault.

    `kind` is the program's word for the fault. A `clipped` stretch spans the strokes of the bell;
    where the flat tops begin and end is read from the rendered sound. `gaps` of a `dropout` are
    (begin, length), s; `copy_of` is the input whose signal is on this one as well.
    """

    track: int
    kind: str
    onset_s: float
    end_s: float
    remark: str
    gaps: tuple[tuple[float, float], ...] = ()
    copy_of: int = 0


FADES: Final = ((64.3, 0.14), (65.1, 0.22), (66.4, 0.31), (67.5, 0.09), (68.9, 0.27), (70.2, 0.18))
"""When the antenna of receiver B fades; all of its packs lose the same moments."""
BEHIND_B: Final = (2, 4, 6, 7)

FAULTS: Final[tuple[Stretch, ...]] = (
    Stretch(3, "muted", 11.6, 19.4, "the strap of the harness pushes the mute switch; then found"),
    Stretch(9, "hum", 27.0, 58.0, "the plug of the plant mic is half out: mains hum"),
    Stretch(1, "pair_drift", 43.5, DURATION_S, "the mic slips under the harness"),
    *(
        Stretch(n, "dropout", 64.3, 70.38, "the antenna of receiver B fades", gaps=FADES)
        for n in BEHIND_B
    ),
    Stretch(7, "duplicate", 76.0, 93.5, "the ringer's pack is patched twice", copy_of=6),
    Stretch(3, "clipped", 97.4, DURATION_S, "the bell overloads the pack; pack 4 stays clean"),
)

HARMLESS: Final[tuple[Stretch, ...]] = (
    Stretch(7, "silent", 14.6, 73.2, "the mason says nothing for a minute; cloth and wind go on"),
    Stretch(
        12, "silent", 0.0, DURATION_S, "crew radio: line noise at about -90 dBFS between calls"
    ),
    Stretch(4, "clipped", 97.4, DURATION_S, "the same strokes, but 12 dB lower: no flat tops"),
    Stretch(11, "duplicate", 97.4, DURATION_S, "two microphones in the square hear one bell"),
)
