"""The one table of limits: name, unit, default by kind, range, help and source.

The plan's checks, the detectors, the command line's help and the manual all read it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from engine.model.messages import Fault, Kind, PackLevel

Value = float | str | None
"""A limit's value: a number, "on" or "off" for a switch, None for "worked out from the sound"."""

NEVER: Final = math.inf

LONGEST_DELAY_S: Final = 86_400.0
"""A delay over a day is a slip of the keyboard; who wants no alarm at all writes inf. Ours."""

MOST_SPEECH_S: Final = 600.0
"""Speech that is added up is kept in memory; ten minutes of one track's outlast a scene. Ours."""


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit a plan may set, by kind or for one track.

    `default` holds for every kind that `by_kind` does not name; `on_safety` replaces it on a
    safety pack. `low` and `high` are inclusive; where `may_be_never`, so is infinity.
    """

    name: str
    unit: str
    default: Value
    help: str
    by_kind: Mapping[Kind, Value] = field(default_factory=dict)
    on_safety: Value = None
    low: float = 0.0
    high: float = LONGEST_DELAY_S
    may_be_never: bool = False
    source: str = "CONTRACT.md"

    def of(self, kind: Kind, level: PackLevel | None = None) -> Value:
        """The default for a track of that kind and level."""
        if kind in self.by_kind:
            return self.by_kind[kind]
        if level is PackLevel.SAFETY and self.on_safety is not None:
            return self.on_safety
        return self.default

    def allows(self, value: float) -> bool:
        """Whether a plan may set it to that number; never true of NaN."""
        return self.low <= value <= self.high or (self.may_be_never and value == NEVER)

    @property
    def range(self) -> str:
        """What `allows` allows, in words."""
        return f"{self.low:g} to {self.high:g}" + (
            ", or inf for never" if self.may_be_never else ""
        )

    @property
    def is_switch(self) -> bool:
        """True where the value is "on" or "off"."""
        return self.unit == "switch"


def _seconds(name: str, default: float, text: str, **by_kind: float) -> Limit:
    kinds = {Kind(k): v for k, v in by_kind.items()}
    return Limit(name, "s", default, text, kinds, may_be_never=True)


def _speech_seconds(name: str, default: float, text: str) -> Limit:
    return Limit(name, "s", default, text, high=MOST_SPEECH_S)


def _level(name: str, default: Value, text: str, on_safety: Value = None) -> Limit:
    return Limit(name, "dBFS", default, text, on_safety=on_safety, low=-150.0, high=0.0)


_NO_SOUND_KINDS: Final = (Kind.TIMECODE, Kind.UNUSED)

_OFF_FOR: Final[Mapping[Fault, tuple[Kind, ...]]] = {
    Fault.MUTED: _NO_SOUND_KINDS,
    Fault.STUCK: _NO_SOUND_KINDS,
    Fault.SILENT: (Kind.COMMS, *_NO_SOUND_KINDS),
    Fault.DEAD_MIC: (Kind.COMMS, *_NO_SOUND_KINDS),
    Fault.DROPOUT: (Kind.COMMS, *_NO_SOUND_KINDS),
    Fault.CRACKLE: (Kind.AMBIENCE, Kind.COMMS, *_NO_SOUND_KINDS),
    Fault.NOISE_BURST: (Kind.COMMS, *_NO_SOUND_KINDS),
    Fault.NOISE: (Kind.COMMS, *_NO_SOUND_KINDS),
    Fault.CLIPPED: (Kind.COMMS, *_NO_SOUND_KINDS),
    Fault.LOW: (Kind.AMBIENCE, Kind.COMMS, *_NO_SOUND_KINDS),
    Fault.HUM: (Kind.COMMS, *_NO_SOUND_KINDS),
    Fault.TONE: (Kind.COMMS, *_NO_SOUND_KINDS),
    Fault.DC: _NO_SOUND_KINDS,
    Fault.DUPLICATE: (Kind.TIMECODE,),
    Fault.POLARITY: _NO_SOUND_KINDS,
    Fault.PAIR_DRIFT: _NO_SOUND_KINDS,
    Fault.SWAPPED: tuple(k for k in Kind if k is not Kind.LAV),
    Fault.UNEXPECTED: tuple(k for k in Kind if k is not Kind.UNUSED),
    Fault.TIMECODE: tuple(k for k in Kind if k is not Kind.TIMECODE),
    Fault.INPUT_LOST: (),
    Fault.CLOCK: (),
    Fault.SAMPLES_LOST: (),
}


def _switch(fault: Fault) -> Limit:
    off = dict.fromkeys(_OFF_FOR[fault], "off")
    return Limit(fault.value, "switch", "on", f'"off": never say {fault.value} here', off)


LIMITS: Final[Mapping[str, Limit]] = {
    limit.name: limit
    for limit in (
        _seconds("silent_amber_s", 10.0, "below presence this long: amber", ambience=3.0),
        _seconds("silent_red_s", 20.0, "below presence this long: red", ambience=8.0),
        _level(
            "presence_dbfs",
            None,
            "background is present above this level; best left out: then learned",
        ),
        _seconds("muted_amber_s", 0.5, "digital zero this long: amber", comms=5.0),
        _seconds("muted_red_s", 2.0, "digital zero this long: red", comms=30.0),
        _seconds("dead_mic_amber_s", 5.0, "only steady electronics noise this long: amber"),
        _seconds("dead_mic_red_s", 10.0, "only steady electronics noise this long: red"),
        _level("low_dbfs", -45.0, "speech under this RMS is low", on_safety=-62.0),
        _speech_seconds("low_amber_s", 20.0, "seconds of low speech: amber"),
        _seconds("hum_amber_s", 3.0, "mains hum this long: amber"),
        _seconds("hum_red_s", 10.0, "mains hum this long, and loud: red"),
        _level("hum_red_dbfs", -40.0, "hum above this may go red"),
        _seconds("duplicate_amber_s", 5.0, "two inputs alike this long: amber"),
        _seconds("duplicate_red_s", 15.0, "two inputs alike this long: red"),
        _speech_seconds(
            "polarity_amber_s", 5.0, "seconds of speech inverted against the pair: amber"
        ),
        _speech_seconds(
            "pair_drift_amber_s", 10.0, "seconds of speech off the pair's offset: amber"
        ),
        _speech_seconds(
            "swapped_amber_s", 10.0, "seconds of speech that come on another's input: amber"
        ),
        _level("unexpected_dbfs", -50.0, "a signal above this on an unused input is unexpected"),
        _seconds("unexpected_amber_s", 5.0, "unexpected signal this long: amber"),
        _seconds("timecode_amber_s", 1.0, "no valid frame this long: amber"),
        _seconds("timecode_red_s", 3.0, "no valid frame this long: red"),
        _seconds("stuck_amber_s", 0.5, "a buffer repeats this long: amber"),
        _seconds("stuck_red_s", 2.0, "a buffer repeats this long: red"),
        _seconds("noise_amber_s", 5.0, "noise far over the learned floor this long: amber"),
        _seconds("noise_red_s", 5.0, "noise that masks speech this long: red, unless covered"),
        _seconds("dc_amber_s", 5.0, "the samples lie off zero this long: amber"),
        _seconds("tone_amber_s", 5.0, "one steady tone this long: amber"),
        _seconds("crackle_red_s", 10.0, "a contact that goes on opening this long: red"),
        _seconds("clock_red_s", 10.0, "clock slips that go on this long: red"),
        *(_switch(fault) for fault in _OFF_FOR),
    )
}
