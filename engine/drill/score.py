"""The score of a drill: what the crew and trackwarden itself made of each fault. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import inf
from statistics import median
from typing import Final

from engine.alarms.coverage_timeline import CoverageTimeline
from engine.model.drill_causes import Cause
from engine.model.drill_truth import Truth
from engine.model.messages import Fault, Incident, Severity
from engine.model.tracks import Track
from engine.session.records import SignRecord

EARLY_S: Final = 1.0
"""An alarm's onset may lie so far outside the fault itself and still be of it."""
ANSWER_S: Final = 15.0
"""A fault that is over may still be answered for so long."""

_OF_SPEECH: Final = (Fault.PAIR_DRIFT, Fault.POLARITY, Fault.LOW, Fault.SWAPPED)
_OF_PAIRS: Final = (Fault.PAIR_DRIFT, Fault.POLARITY, Fault.DUPLICATE, Fault.SWAPPED)


@dataclass(frozen=True, slots=True)
class Call:
    """The mixer named a cause for that input (None: for none in particular)."""

    at_s: float
    track: int | None
    cause: Cause


@dataclass(frozen=True, slots=True)
class Seen:
    """The crew called that incident seen."""

    at_s: float
    incident_id: int


@dataclass(frozen=True, slots=True)
class Result:
    """One fault and what was made of it; times in stream time, None where it never came.

    sign_s : when an early sign of it was told, before the alarm
    found_s, found : when trackwarden raised its alarm, and as which fault
    seen_s : when the crew first answered, by calling it seen or by naming a cause
    called : the first cause named
    """

    truth: Truth
    found_s: float | None = None
    found: Fault | None = None
    seen_s: float | None = None
    called: Cause | None = None
    sign_s: float | None = None

    @property
    def friend(self) -> bool:
        """Nothing was wrong."""
        return self.truth.cause is Cause.NOTHING

    @property
    def missed(self) -> bool:
        """The crew never answered a fault that was to be heard."""
        return self.truth.severity is not None and self.seen_s is None

    @property
    def right(self) -> bool | None:
        """The cause named was the right one; None where none was named."""
        if self.called is None or not self.truth.cause.slow:
            return None if self.called is None else self.called is self.truth.cause
        return self.called.fault is self.truth.cause.fault

    @property
    def seen_after_s(self) -> float | None:
        """From onset to the crew's first answer."""
        return None if self.seen_s is None else self.seen_s - self.truth.onset_s

    @property
    def sign_after_s(self) -> float | None:
        """From onset to its early sign."""
        return None if self.sign_s is None else self.sign_s - self.truth.onset_s

    @property
    def found_after_s(self) -> float | None:
        """From onset to trackwarden's alarm."""
        return None if self.found_s is None else self.found_s - self.truth.onset_s


@dataclass(frozen=True, slots=True)
class Score:
    """A whole drill.

    false_calls : causes named where nothing was wrong
    false_alarms : alarms of trackwarden's own that no fault explains
    uncovered_s : time in which a performer had no healthy pack; `unseen_s` of it before it was seen
    """

    results: tuple[Result, ...]
    false_calls: int
    false_alarms: int
    uncovered_s: float
    unseen_s: float
    watched_s: float

    @property
    def faults(self) -> tuple[Result, ...]:
        """Those that were to be heard."""
        return tuple(r for r in self.results if r.truth.severity is not None)

    @property
    def missed(self) -> int:
        """How many the crew never answered."""
        return sum(result.missed for result in self.faults)

    @property
    def right(self) -> int:
        """How many causes were named rightly."""
        return sum(result.right is True for result in self.faults)

    @property
    def found(self) -> int:
        """How many faults trackwarden raised an alarm for."""
        return sum(result.found_s is not None for result in self.faults)

    @property
    def named(self) -> int:
        """How many of them trackwarden named as what they were."""
        return sum(result.found is result.truth.cause.fault for result in self.faults)

    @property
    def seen_s(self) -> float | None:
        """Median time from onset to seen, slow failures left out; None where nothing was."""
        return _median(one.seen_after_s for one in self.faults if not one.truth.cause.slow)

    @property
    def found_s(self) -> float | None:
        """Median time from onset to trackwarden's alarm, slow failures left out."""
        return _median(one.found_after_s for one in self.faults if not one.truth.cause.slow)


def score(
    tracks: Sequence[Track],
    truths: Sequence[Truth],
    incidents: Sequence[Incident],
    seen: Sequence[Seen],
    calls: Sequence[Call],
    watched_s: float,
    signs: Sequence[SignRecord] = (),
) -> Score:
    """The score of what was watched; faults that were to come later do not count.

    All times are stream times of the drill; a fault is answered from its onset until `ANSWER_S`
    after its end.
    """
    begun = [truth for truth in truths if truth.counts and truth.onset_s < watched_s]
    answers = [(_answered(call, begun), call) for call in calls]
    results = tuple(
        _result(truth, incidents, seen, [call for of, call in answers if of is truth], signs)
        for truth in begun
    )
    return Score(
        results=results,
        false_calls=_false_calls(tracks, truths, incidents, calls),
        false_alarms=_false_alarms(tracks, truths, incidents),
        uncovered_s=_uncovered_s(tracks, _as_incidents(results), watched_s),
        unseen_s=_uncovered_s(tracks, _as_incidents(results, unseen=True), watched_s),
        watched_s=watched_s,
    )


def _answered(call: Call, truths: Sequence[Truth]) -> Truth | None:
    """What a cause was named for: the newest fault on that track that may still be answered."""
    return max((t for t in truths if _answers(call, t)), key=lambda t: t.onset_s, default=None)


def _result(
    truth: Truth,
    incidents: Sequence[Incident],
    seen: Sequence[Seen],
    answers: Sequence[Call],
    signs: Sequence[SignRecord],
) -> Result:
    """What was made of one fault; `answers` are the causes named for it."""
    mine = [i for i in incidents if _is_of(i, truth)]
    raised = [i for i in mine if _raised_s(i) is not None]
    same = [i for i in raised if i.fault is truth.cause.fault] or raised
    numbers = {i.id for i in mine}
    times_s = [s.at_s for s in seen if s.incident_id in numbers and s.at_s >= truth.onset_s]
    times_s += [c.at_s for c in answers]
    first = min(same, key=lambda i: _raised_s(i) or 0.0, default=None)
    found_s = None if first is None else _raised_s(first)
    return Result(
        truth=truth,
        found_s=found_s,
        sign_s=_sign_s(truth, signs, truth.end_s if found_s is None else found_s),
        found=None if first is None else first.fault,
        seen_s=min(times_s, default=None),
        called=min(answers, key=lambda c: c.at_s).cause if answers else None,
    )


def _sign_s(truth: Truth, signs: Sequence[SignRecord], until_s: float) -> float | None:
    """When an early sign on its tracks was told of what fails slowly, before its alarm."""
    mine = [
        sign.told_s
        for sign in signs
        if truth.cause.slow
        and truth.onset_s <= sign.told_s <= until_s
        and set(sign.tracks) & set(truth.tracks)
    ]
    return min(mine, default=None)


def _raised_s(incident: Incident) -> float | None:
    times_s = [t for t in (incident.amber_s, incident.red_s) if t is not None]
    return min(times_s, default=None)


def _began_s(incident: Incident) -> float:
    """When the sound gave it away; of what shows in the newest speech alone, when it was raised."""
    raised_s = _raised_s(incident) if incident.fault in _OF_SPEECH else None
    return incident.onset_s if raised_s is None else raised_s


def _inputs(incident: Incident) -> tuple[int, ...]:
    return incident.tracks if incident.track is None else (incident.track,)


def _is_of(incident: Incident, truth: Truth) -> bool:
    inside = truth.onset_s - EARLY_S <= _began_s(incident) <= truth.end_s + EARLY_S
    return inside and bool(set(_inputs(incident)) & set(truth.tracks))


def _answers(call: Call, truth: Truth) -> bool:
    in_time = truth.onset_s <= call.at_s <= truth.end_s + ANSWER_S
    return in_time and (call.track is None or call.track in truth.tracks)


def _false_calls(
    tracks: Sequence[Track],
    truths: Sequence[Truth],
    incidents: Sequence[Incident],
    calls: Sequence[Call],
) -> int:
    """Causes named where nothing was wrong; who answers a pair's alarm of ours is not to blame."""
    real = [truth for truth in truths if truth.cause is not Cause.NOTHING]

    def excused(call: Call) -> bool:
        return any(
            call.track in _inputs(i) and i.onset_s <= call.at_s and _echoes(i, real, tracks)
            for i in incidents
        )

    return sum(
        call.cause is not Cause.NOTHING
        and not any(_answers(call, truth) for truth in real)
        and not excused(call)
        for call in calls
    )


def _false_alarms(
    tracks: Sequence[Track], truths: Sequence[Truth], incidents: Sequence[Incident]
) -> int:
    """Alarms that nothing explains; audio that this computer lost in the drill was really lost."""
    lost = [i for i in incidents if i.fault is Fault.SAMPLES_LOST]
    real = [truth for truth in truths if truth.cause is not Cause.NOTHING]
    return sum(
        i.part_of is None
        and not any(_is_of(i, truth) for truth in real)
        and not _echoes(i, real, tracks)
        and not any(_began_in(i, one) for one in lost)
        for i in incidents
    )


def _began_in(incident: Incident, other: Incident) -> bool:
    end_s = inf if other.end_s is None else other.end_s
    return other.onset_s - EARLY_S <= incident.onset_s <= end_s + EARLY_S


def _echoes(incident: Incident, truths: Sequence[Truth], tracks: Sequence[Track]) -> bool:
    """A pair's alarm that a fault of the other pack explains."""
    who = {track.input: track.who or track.input for track in tracks}
    mine = {who.get(number) for number in _inputs(incident)}
    return incident.fault in _OF_PAIRS and any(
        truth.onset_s - EARLY_S <= _began_s(incident) <= truth.end_s + ANSWER_S
        and mine & {who.get(number) for number in truth.tracks}
        for truth in truths
    )


def _as_incidents(results: Iterable[Result], *, unseen: bool = False) -> list[Incident]:
    """The truth as incidents; `unseen`: only as long as nobody had seen it."""
    made = []
    for result in results:
        truth, fault = result.truth, result.truth.cause.fault
        if fault is None or truth.severity is None:
            continue
        if truth.cause.slow:  # sound until its alarm
            truth = replace(truth, onset_s=result.found_s or truth.end_s)
        one = Incident(
            truth.number, None, fault, Severity.RED, truth.onset_s,
            end_s=truth.end_s, tracks=truth.tracks,
        )  # fmt: skip
        if unseen and result.seen_s is not None:
            one = replace(one, end_s=min(truth.end_s, result.seen_s))
        made.append(one)
    return made


def _uncovered_s(tracks: Sequence[Track], incidents: Sequence[Incident], length_s: float) -> float:
    whos = CoverageTimeline(tracks, incidents, length_s).whos()
    return sum(stretch.length_s for who in whos for stretch in who.uncovered)


def _median(values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return median(known) if known else None
