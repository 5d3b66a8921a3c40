"""What the watch flagged against what the file has: faults after the split, or before it.

A take begins with nothing learned, so its own scan is not enough: a fault is only called the
file's, or only the copy's, where the levels of both differ in that time as they must.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.fault_remedies import spoils, word
from engine.model.messages import Fault, Incident
from engine.verify.follow import Course
from engine.verify.result import Difference, Finding

LOSSES: Final = frozenset({Fault.MUTED, Fault.DEAD_MIC, Fault.DROPOUT})
"""The level falls; one loss may bear several of these names."""

COMPARED: Final = LOSSES | {Fault.NOISE_BURST, Fault.CLIPPED}
"""Faults that show within seconds in the sound itself."""

SLACK_S: Final = 3.0
"""Two incidents of one fault lie at most this far apart, s; ours."""

CLIPPED_SLACK_S: Final = 10.0
"""The same of clipping, which comes and goes with the loudest words."""

SHORTEST_CLIPPING_S: Final = 0.5
"""A few flat tops may be found on one side of the split only."""

APART_DB: Final = 6.0
"""So much lower than what was heard is a loss in the file, so much higher one that it lacks."""

Differ = Callable[[int, float, float], NDArray[np.float64]]
"""Level of the file over that of the session, gain taken off, of a track in a time, (steps,) dB."""


def compare_faults(
    path: str,
    session: Sequence[Incident],
    file: Sequence[Incident],
    course: Course,
    duration_s: float,
    tracks: Mapping[int, int],
    names: Mapping[int, str],
    differ: Differ,
) -> list[Finding]:
    """Findings of one take.

    session, file : incidents, by session time and by the take's
    tracks : input of the session by channel of the take (from 1), of tracks that are as heard
    """
    ours = [i for i in session if i.fault in COMPARED and i.track is not None]
    theirs = [
        (tracks[i.track], i, *_span(i, course, duration_s))
        for i in file
        if i.fault in COMPARED and i.track is not None and i.track in tracks
    ]
    findings = []
    for number, incident, begin_s, end_s in theirs:
        if any(_alike(o, number, incident.fault, begin_s, end_s) for o in ours):
            continue
        if not _shows(incident.fault, differ(number, begin_s, end_s), end_s - begin_s, sign=-1.0):
            continue
        text = f"{names[number]}: {word(incident.fault)} in the file alone: it came after the split"
        where = (path, number, incident.track, begin_s, end_s)
        findings.append(Finding(Difference.FAULT_IN_FILE, text, *where))
    channel = {number: at for at, number in tracks.items()}
    first_s, last_s = course.start_s, course.session_s(duration_s)
    for incident in ours:
        number, until_s = incident.track or 0, incident.end_s
        if number not in channel or until_s is None or not spoils(incident):
            continue
        begin_s = incident.onset_s
        if begin_s < first_s or until_s > last_s:
            continue
        slack_s = _slack_s(incident.fault)
        if any(t[0] == number and _near(t[2:], begin_s, until_s, slack_s) for t in theirs):
            continue
        if not _shows(
            incident.fault, differ(number, begin_s, until_s), until_s - begin_s, sign=1.0
        ):
            continue
        text = f"{names[number]}: {word(incident.fault)} was heard, the file has none: use it"
        where = (path, number, channel[number], begin_s, until_s)
        findings.append(Finding(Difference.CLEAN_IN_FILE, text, *where))
    return findings


def _shows(fault: Fault, apart_db: NDArray[np.float64], length_s: float, sign: float) -> bool:
    """The levels bear it out; `sign` is 1 where the session had the fault, -1 where the file has.

    Clipping changes the level little: there the search for flat tops decides, if it is no moment.
    """
    if fault is Fault.CLIPPED:
        return length_s >= SHORTEST_CLIPPING_S
    known = sign * apart_db[~np.isnan(apart_db)]
    if not len(known):
        return False
    if fault is Fault.NOISE_BURST:
        return float(known.min()) <= -APART_DB
    middle = float(known.max()) if fault is Fault.DROPOUT else float(np.median(known))
    return middle >= APART_DB


def _span(incident: Incident, course: Course, duration_s: float) -> tuple[float, float]:
    end_s = duration_s if incident.end_s is None else incident.end_s
    return course.session_s(incident.onset_s), course.session_s(end_s)


def _alike(ours: Incident, number: int, fault: Fault, begin_s: float, end_s: float) -> bool:
    """The watch raised something like it on that track then."""
    if ours.track != number or (ours.fault is not fault and not {ours.fault, fault} <= LOSSES):
        return False
    until_s = end_s if ours.end_s is None else ours.end_s
    return _near((begin_s, end_s), ours.onset_s, until_s, _slack_s(fault))


def _slack_s(fault: Fault) -> float:
    return CLIPPED_SLACK_S if fault is Fault.CLIPPED else SLACK_S


def _near(span: tuple[float, ...], begin_s: float, end_s: float, slack_s: float) -> bool:
    return span[0] <= end_s + slack_s and span[1] >= begin_s - slack_s
