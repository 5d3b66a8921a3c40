"""What must be said of a planted fault, and by when: from the samples as they now are.

Deadlines are those of CONTRACT.md, from the table of limits; those in seconds of speech and those
that need silence are worked out from the track itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.inject.base import Planted
from engine.model.messages import Fault, Kind, PackLevel, Samples, Severity
from engine.model.tracks import Plan, Track
from engine.model.units import power_db, rms_dbfs
from tests.benchmarks.detection.audible import STEP_S, hum_audible
from tests.benchmarks.detection.library import RATE
from tests.support.scoring import GRACE_S, Truth

SOFT_KNEE: Final = "soft knee"
OF_A_PAIR: Final = (Fault.POLARITY, Fault.PAIR_DRIFT)
"""Said of either pack of a pair: the sound does not tell which of the two changed."""
SPEECH_S: Final = {Fault.LOW: 20.0, Fault.POLARITY: 5.0, Fault.PAIR_DRIFT: 10.0}
SPEECH_OVER_FLOOR_DB: Final = 10.0
EVENT_S: Final = {Fault.DROPOUT: 1.0, Fault.NOISE_BURST: 1.0, Fault.CLIPPED: 0.5}
THIRD_EVENT_S: Final = 1.0
"""Amber of crackle comes within this of the third pop in 10 s (CONTRACT.md)."""
BACKGROUND_S: Final = 30
LEARN_S: Final = 10
UNDER_FLOOR_DB: Final = 8.0
"""Nothing of the place is audible this far under its live floor; common practice, no source."""
PLAINLY_DB: Final = 2.0
"""Nearer to presence than this it may be called silent or not, and speech as near to its limit low
or not."""

Due = tuple[float | None, float | None]
"""Seconds after the onset within which amber and red must come; None: not due."""


@dataclass(frozen=True, slots=True, eq=False)
class Judge:
    """Says what is due.

    turns : begin and end of each turn of the pack's own wearer, s, by input number
    """

    samples: Samples
    plan: Plan
    turns: Mapping[int, Sequence[tuple[float, float]]]

    def truth(self, planted: Planted) -> Truth:
        """The truth to score against."""
        fault, track = planted.fault, self.plan.track(planted.tracks[-1])
        amber, red = self._due(planted, track)
        if fault is Fault.SILENT:
            amber, red = self._silence(planted, track)
        if fault is Fault.HUM:
            amber, red = self._heard_hum(planted, track, amber, red)
        pair = fault in OF_A_PAIR
        soft = fault is Fault.CLIPPED and planted.remark.startswith("soft")
        return Truth(
            label=SOFT_KNEE if soft else fault.value,
            tracks=tuple(sorted({track.input, mate(track.input)})) if pair else planted.tracks,
            names=(fault.value,),
            onset_s=planted.onset_s,
            end_s=planted.end_s,
            strength=planted.strength,
            amber_within_s=amber,
            red_within_s=red,
            audible_s=self._audible_s(planted, track),
            remark=planted.remark,
        )

    def _due(self, planted: Planted, track: Track) -> Due:
        fault = planted.fault
        if fault in SPEECH_S:
            return self._after_speech(planted, track), None
        if planted.severity is None:
            return None, None
        amber = EVENT_S.get(fault)
        if fault is Fault.CRACKLE:
            amber = _third(planted) + THIRD_EVENT_S
        if amber is None:
            amber = _limit_s(track, f"{fault.value}_amber_s")
        if planted.severity is not Severity.RED:
            return amber, None
        if fault is Fault.CLIPPED:
            return amber, _goes_on(planted) if track.kind is Kind.BOOM else None
        if fault in EVENT_S:
            return amber, _third(planted) + 1.0
        red = _limit_s(track, f"{fault.value}_red_s")
        return amber, red if planted.end_s - planted.onset_s >= red + GRACE_S else None

    def _after_speech(self, planted: Planted, track: Track) -> float | None:
        """When enough speech was heard on that very track, after the onset; None: never, or (low)
        where what is left is not plainly low.

        A neighbour's voice in a pack counts, but for pair_drift: a pack that slipped on its wearer
        hears it as before.
        """
        levels, speech = self._speech(planted, track)
        reached = np.flatnonzero(np.cumsum(speech) >= SPEECH_S[planted.fault] * 100)
        if not len(reached):
            return None
        if planted.fault is Fault.LOW:
            limit = -62.0 if track.level is PackLevel.SAFETY else -45.0
            power = 10.0 ** (levels[: reached[0] + 1][speech[: reached[0] + 1]] / 10.0)
            if float(power_db(power.mean())) > limit - PLAINLY_DB:
                return None
        return float(reached[0] + 1) * 0.01

    def _speech(
        self, planted: Planted, track: Track
    ) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Level of each 10 ms after the onset, dBFS, and which of them are speech."""
        audio = self.samples[round(planted.onset_s * RATE) :, track.input - 1]
        levels = hop_dbfs(audio)
        speech = levels >= background_dbfs(audio)[: len(levels)] + SPEECH_OVER_FLOOR_DB
        if planted.fault is Fault.PAIR_DRIFT:
            speech &= self._own(track, planted.onset_s, len(levels))
        return levels, speech

    def _audible_s(self, planted: Planted, track: Track) -> float:
        """When it can be heard first: crossed wires and a slipped mic show in speech alone."""
        if planted.fault not in OF_A_PAIR:
            return planted.onset_s
        _, speech = self._speech(planted, track)
        return planted.onset_s + 0.01 * float(np.argmax(speech))

    def _heard_hum(
        self, planted: Planted, track: Track, amber: float | None, red: float | None
    ) -> Due:
        """The same deadlines, but counting only while the hum is audible under all else."""
        first, last = round(planted.onset_s * RATE), round(planted.end_s * RATE)
        audible = hum_audible(self.samples[first:last, track.input - 1], RATE)
        heard_s = STEP_S * np.cumsum(audible)

        def after(due: float | None) -> float | None:
            if due is None or heard_s[-1] < due:
                return None
            return max(due, STEP_S * float(np.argmax(heard_s >= due - 1e-9) + 1))

        return after(amber), after(red)

    def _own(self, track: Track, begin_s: float, hops: int) -> NDArray[np.bool_]:
        """Where the pack's own wearer has a turn, in hops of 10 ms from then on."""
        at_s = begin_s + 0.01 * np.arange(hops)
        turns = self.turns[track.input]
        own = [(at_s >= first_s) & (at_s < last_s) for first_s, last_s in turns]
        return np.asarray(np.any(own, axis=0))

    def _silence(self, planted: Planted, track: Track) -> Due:
        """Deadlines after the first silence long enough: what is left of a loud voice may still be
        heard. Nothing is due where there is no such silence. The floor is that of the half minute
        before."""
        amber, red = _limit_s(track, "silent_amber_s"), _limit_s(track, "silent_red_s")
        first, last = round(planted.onset_s * RATE), round(planted.end_s * RATE)
        levels = hop_dbfs(self.samples[first:last, track.input - 1], hop_s=0.1)
        before = self.samples[max(0, first - BACKGROUND_S * RATE) : first, track.input - 1]
        floor = float(background_dbfs(before)[-1])
        heard = levels > floor - UNDER_FLOOR_DB - PLAINLY_DB
        edges = np.flatnonzero(np.diff(heard.astype(np.int8), prepend=1, append=1))
        for begin, end in zip(edges[::2], edges[1::2], strict=True):
            lasts_s = 0.1 * float(end - begin)
            if lasts_s >= amber + GRACE_S:
                late_s = 0.1 * float(begin)
                return late_s + amber, late_s + red if lasts_s >= red + GRACE_S else None
        return None, None


def mate(track: int) -> int:
    """The other pack of the pair that a pack belongs to."""
    return track + 1 if track % 2 else track - 1


def hop_dbfs(audio: Samples, hop_s: float = 0.01) -> NDArray[np.float64]:
    """AES17 RMS of each hop of one track."""
    hop = round(hop_s * RATE)
    hops = audio[: len(audio) // hop * hop].reshape(-1, hop)
    return rms_dbfs(np.einsum("ij,ij->i", hops, hops) / hop)


def floor_dbfs(levels: NDArray[np.float64]) -> float:
    """The level that a tenth of the hops stay under."""
    return float(np.percentile(levels, 10))


def background_dbfs(audio: Samples) -> NDArray[np.float64]:
    """The live floor for counting speech, at each 10 ms: LF90, as ISO 1996-1 but unweighted.

    The level exceeded for 90 % of the time at the meter's Fast time constant, 125 ms; single hops
    of 10 ms dip several dB under the noise that a listener, or any meter, calls the floor. Taken
    over the half minute before, as whoever listens live knows no more (the first 10 s, in which
    a floor is learned, by their end): a place that goes quiet later makes no speech of what was
    said before.
    """
    fast = hop_dbfs(audio, hop_s=0.125)
    seconds = np.arange(-(-len(audio) // RATE))
    reached = np.minimum(8 * np.maximum(seconds, LEARN_S), len(fast))
    floors = [floor_dbfs(fast[max(0, end - 8 * BACKGROUND_S) : end]) for end in reached]
    return np.repeat(floors, 100)


def _limit_s(track: Track, name: str) -> float:
    value = track.limit(name)
    assert isinstance(value, int | float), f"{name} is a number"
    return float(value)


def _third(planted: Planted) -> float:
    """End of the first event that is the third within 10 s, after the onset."""
    events = planted.events_s
    third = next(c[1] for a, c in zip(events, events[2:], strict=False) if c[0] - a[0] <= 10.0)
    return third - planted.onset_s


def _goes_on(planted: Planted) -> float | None:
    """When flat tops stood in 3 of the last 10 seconds, after the onset; None: never.

    Red is due only where no pack can cover.
    """
    first_in = {int(begin - planted.onset_s): begin for begin, _ in reversed(planted.events_s)}
    seconds = sorted(first_in)
    for first, third in zip(seconds, seconds[2:], strict=False):
        if third - first < 10:
            return first_in[third] - planted.onset_s + 1.0
    return None
