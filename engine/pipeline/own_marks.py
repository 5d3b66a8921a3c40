"""What the watch itself sets down in the history: things that happened and are no fault."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from engine.measure.disturbances import MOST_TICKS, Disturbance, Disturbances, Disturbing
from engine.model.commands import Mark
from engine.model.flag_arrays import indices
from engine.model.messages import Fault, Incident, Measurement
from engine.model.number_text import number
from engine.model.track_remap import TrackRemap
from engine.model.tracks import Plan, Scene

GAIN: Final = "gain"
"""Word of a mark for a gain that was turned by hand; the others are those of `Disturbing`."""


@dataclass(frozen=True, slots=True)
class OwnMark:
    """One thing that happened to one track and is no fault.

    what : a word of CONTRACT.md
    track : the plan's `input` number
    level_dbfs : highest sample peak; None where there is none to tell
    text : all of it, one line
    """

    what: str
    track: int
    from_s: float
    until_s: float
    level_dbfs: float | None
    text: str

    @property
    def mark(self) -> Mark:
        """The same as a mark of the history."""
        return Mark(self.text, self.from_s)


class OwnMarkRecorder:
    """Gathers them; with `disturbances` False there are only turned gains.

    `incidents` gives those so far: a pop of a contact is as deep and as sudden as a blow, and what
    is told as `crackle` is no mark as well.

    Nothing of it is urgent: ten ticks are looked at together, which costs a fraction.

    Attributes
    ----------
    marks : list of OwnMark
        All so far.
    """

    def __init__(
        self,
        scene: Scene,
        *,
        disturbances: bool = True,
        incidents: Callable[[], Sequence[Incident]] = tuple,
    ) -> None:
        self.marks: list[OwnMark] = []
        self._taken = 0
        self._incidents = incidents
        self._ticks: list[Measurement] = []
        self._disturbances = Disturbances(scene) if disturbances else None

    def update(self, m: Measurement, plan: Plan, label: Callable[[float], str]) -> list[OwnMark]:
        """Take in one tick; what the newest have shown, once a second. `label` gives the timecode
        of a moment."""
        self._ticks.append(m)
        return self.flush(plan, label) if len(self._ticks) == MOST_TICKS else []

    def flush(self, plan: Plan, label: Callable[[float], str]) -> list[OwnMark]:
        """What the ticks have shown that wait to be looked at."""
        ticks, self._ticks = self._ticks, []
        marks = [mark for m in ticks for mark in gain_marks(m, plan)]
        if ticks and self._disturbances is not None:
            over = disturbance_marks(self._disturbances.update(ticks), plan, label)
            marks += without_pops(over, self._incidents)
        self.marks += marks
        return marks

    def finish(self, plan: Plan, label: Callable[[float], str]) -> list[OwnMark]:
        """The take has ended: what waits, and what has not ended by itself."""
        marks = self.flush(plan, label)
        if self._disturbances is not None:
            last = disturbance_marks(self._disturbances.finish(), plan, label)
            last = without_pops(last, self._incidents)
            self.marks += last
            marks += last
        return marks

    def take(self) -> list[Mark]:
        """Those since the last call."""
        marks = [one.mark for one in self.marks[self._taken :]]
        self._taken = len(self.marks)
        return marks

    def change(self, scene: Scene, same: TrackRemap) -> None:
        """Go on with the tracks of another plan; `same` are those that are judged as before.

        What waits is to be flushed before.
        """
        if self._disturbances is not None:
            before, self._disturbances = self._disturbances, Disturbances(scene)
            self._disturbances.carry(before, same)


def gain_marks(m: Measurement, plan: Plan) -> list[OwnMark]:
    """Gains that were turned by hand, as one tick shows them: which track, and how far."""
    marks = []
    for track_index in indices(m.gain_step_db):
        track = plan.tracks[track_index]
        gain = number(m.gain_step_db[track_index], "dB", digits=0, signed=True)
        text = f"gain {gain}: {track.input} {track.label}"
        marks.append(OwnMark(GAIN, track.input, m.end_s, m.end_s, None, text))
    return marks


def disturbance_marks(
    disturbances: Sequence[Disturbance], plan: Plan, label: Callable[[float], str]
) -> list[OwnMark]:
    """Wind, rustle and blows that are over; `label` gives the timecode of a moment."""
    marks = []
    for one in disturbances:
        track = plan.tracks[one.track_index]
        span = f"{_clock(label(one.from_s))} to {_clock(label(one.until_s))}"
        level = number(one.peak_dbfs, "dBFS", digits=0)
        text = f"{one.what.value}, {span}, {level}: {track.input} {track.label}"
        marks.append(
            OwnMark(one.what.value, track.input, one.from_s, one.until_s, one.peak_dbfs, text)
        )
    return marks


def without_pops(
    marks: list[OwnMark], incidents: Callable[[], Sequence[Incident]]
) -> list[OwnMark]:
    """The same marks without blows on a track on which a contact opened meanwhile."""
    if not any(mark.what == Disturbing.HITS for mark in marks):
        return marks
    pops = [one for one in incidents() if one.fault is Fault.CRACKLE]
    return [
        mark
        for mark in marks
        if mark.what != Disturbing.HITS
        or not any(
            one.track == mark.track
            and one.onset_s <= mark.until_s
            and (one.end_s is None or one.end_s >= mark.from_s)
            for one in pops
        )
    ]


def _clock(timecode: str) -> str:
    """Hours, minutes and seconds of a label."""
    return timecode[:8]
