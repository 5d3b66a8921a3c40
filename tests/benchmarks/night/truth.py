"""When a fault is due: from the moment a listener could hear it, by a rule of this benchmark.

A change is heard in a 20 ms window where what the fault added, took or bent (the faulty track less
the healthy one), A-weighted, is

- at most 3 dB under the background (the level that the healthy track passes 90 % of the time), and
- at most 30 dB under what the healthy track carries in that moment (a change of 3 %, the usual
  limit of overload; common practice, no source).

It is due at the first such window, and undue where fewer than three come. Faults of the plan are
due when they begin; a risen floor when it stands so many dB over the background for half a second
in a second; faults that need speech when the performers on these tracks have speech for so
long, where speech is what lies within 15.9 dB of a voice's active level (margin of ITU-T P.56).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.night.cases import Case, Span
from tests.benchmarks.night.scenes import INPUTS, Take
from tests.benchmarks.night.sounds import WINDOW_S, Audio, weighted_levels

UNDER_BACKGROUND_DB: Final = 3.0
MASKED_DB: Final = 30.0
FEWEST_WINDOWS: Final = 3
MARGIN_DB: Final = 15.9
BEFORE_S: Final = 20.0


@dataclass(frozen=True, slots=True)
class Truth:
    """One planted fault: `tracks` count from 0, times in seconds of the take.

    `amber_at_s` and `red_at_s` are the latest times that are in time; all are None where undue.
    """

    tracks: tuple[int, ...]
    onset_s: float
    end_s: float
    due_s: float | None
    amber_at_s: float | None
    red_at_s: float | None


def audible(healthy: Audio, faulty: Audio, rate: int) -> NDArray[np.bool_]:
    """In which 20 ms windows the change is heard; both of shape (frames,)."""
    change = weighted_levels(faulty - healthy, rate)
    carried = weighted_levels(healthy, rate)
    background = float(np.percentile(carried, 10.0))
    limit = np.maximum(background - UNDER_BACKGROUND_DB, carried - MASKED_DB)
    return np.asarray(change >= limit)


def risen(healthy: Audio, faulty: Audio, rate: int, by_db: float) -> NDArray[np.bool_]:
    """In which windows a second begins for half of which the change stands `by_db` over the
    background."""
    over = weighted_levels(faulty - healthy, rate)
    over -= float(np.percentile(weighted_levels(healthy, rate), 10.0))
    second = round(1.0 / WINDOW_S)
    share = np.convolve(over >= by_db, np.full(second, 1.0 / second))[second - 1 :]
    return np.asarray(share >= 0.5)


def audible_from(
    healthy: Audio, faulty: Audio, rate: int, span: Span, by_db: float | None = None
) -> float | None:
    """The first time in the span at which the change is heard, in seconds; None: never."""
    start_s = max(0.0, span.onset_s - BEFORE_S)
    part = slice(round(start_s * rate), round(span.end_s * rate))
    if by_db is None:
        windows = np.flatnonzero(audible(healthy[part], faulty[part], rate))
    else:
        windows = np.flatnonzero(risen(healthy[part], faulty[part], rate, by_db))
    windows = windows[windows * WINDOW_S + start_s >= span.onset_s - WINDOW_S]
    enough = len(windows) >= FEWEST_WINDOWS
    return float(start_s + windows[0] * WINDOW_S) if enough else None


def speech_s(take: Take, span: Span) -> NDArray[np.float64]:
    """Seconds of speech since the onset, at the end of every window of the take."""
    owners = {INPUTS[n].performer for n in span.audible or span.tracks}
    everyone = None in owners
    total: NDArray[np.bool_] | None = None
    for who in range(take.stems.shape[1]):
        if everyone or who in owners:
            levels = weighted_levels(take.stems[:, who], take.rate)
            active = np.percentile(levels[levels > -90.0], 80.0) if np.any(levels > -90.0) else 0.0
            speaks = (levels > active - MARGIN_DB) & (levels > -90.0)
            total = speaks if total is None else total | speaks
    assert total is not None
    since = np.arange(len(total)) * WINDOW_S >= span.onset_s
    return np.asarray(np.cumsum(total & since) * WINDOW_S)


def judge(case: Case, take: Take, span: Span, healthy: Audio, faulty: Audio) -> Truth:
    """The truth of a case; `healthy` and `faulty` have shape (frames, len(tracks judged))."""
    due: float | None = span.onset_s
    if case.evidence == "speech":
        speech = speech_s(take, span)
        amber = _reached(speech, case.amber_s)
        red = None if case.red_s is None else _reached(speech, case.red_s)
        due = None if amber is None else _reached(speech, WINDOW_S / 2)
        return Truth(span.tracks, span.onset_s, span.end_s, due, amber, red)
    if case.evidence == "sound":
        times = [
            audible_from(healthy[:, n], faulty[:, n], take.rate, span, case.over_background_db)
            for n in range(healthy.shape[1])
        ]
        due = min((t for t in times if t is not None), default=None)
    if due is None:
        return Truth(span.tracks, span.onset_s, span.end_s, None, None, None)
    red = None if case.red_s is None else due + case.red_s
    return Truth(span.tracks, span.onset_s, span.end_s, due, due + case.amber_s, red)


def _reached(speech: NDArray[np.float64], seconds: float) -> float | None:
    enough = np.flatnonzero(speech >= seconds)
    return float((enough[0] + 1) * WINDOW_S) if len(enough) else None
