"""Which track a round plays, and how long. Pure: time is stream time, passed in.

A round plays every watched track once: what shows an early sign first, then what was heard longest
ago. A track is left early when its performer stops, and lingers while somebody talks. What a mixer
wants from it is common practice, no source; the figures are ours.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Final

from engine.model.commands import (
    EndRound,
    RoundBack,
    RoundNext,
    RoundSay,
    RoundStay,
    StartRound,
)
from engine.model.round_state import LEAST_SECONDS, MOST_SECONDS, Heard, RoundState

RoundCommand = StartRound | RoundNext | RoundBack | RoundStay | RoundSay | EndRound
ROUND_COMMANDS: Final = (StartRound, RoundNext, RoundBack, RoundStay, RoundSay, EndRound)

EARLY: Final = 0.5
"""A track whose performer stopped is left after this share of its time."""
PAUSE_S: Final = 1.5
"""Silence for so long is the end of what was said, not a breath."""
LINGER: Final = 2.0
"""Talk keeps a track for so many times its time at most."""
COUNTS_S: Final = 2.0
"""Shorter than this nobody heard it."""


@dataclass(frozen=True, slots=True)
class Ears:
    """What a round goes by at one moment; inputs by number.

    tracks : those that may be played, in plan order
    doubtful : those with early signs, the worst first
    talking : those on which somebody talks now
    fault : the input whose alarm has just gone red, None where none has
    """

    tracks: Sequence[int]
    doubtful: Sequence[int] = ()
    talking: Collection[int] = ()
    fault: int | None = None


class Rounds:
    """The rounds of one watch."""

    def __init__(self, heard: Sequence[Heard] = ()) -> None:
        self._heard: dict[int, Heard] = {one.track: one for one in heard}
        self._unlogged: list[Heard] = []
        self._queue: list[int] = []
        self._past: list[int] = []
        self._track: int | None = None
        self._since_s = self._talked_s = 0.0
        self._talked = self._staying = self._interrupts = self._in_fault = False
        self._seconds = 0.0

    def command(self, command: RoundCommand, ears: Ears, now_s: float) -> int | None:
        """Do what the crew asks; the input to be played from now on, None where nothing is."""
        match command:
            case StartRound(seconds, interrupt):
                self._seconds = min(max(seconds, LEAST_SECONDS), MOST_SECONDS)
                self._interrupts = interrupt
                self._queue, self._past = self._order(ears), []
                self._go_on(ears, now_s)
            case EndRound():
                self.end(now_s)
            case _ if self._track is None:
                pass
            case RoundNext():
                self._go_on(ears, now_s)
            case RoundBack():
                self._back(now_s)
            case RoundStay():
                self._staying = not self._staying
                self._since_s = self._since_s if self._staying else now_s
            case RoundSay(right, word):
                self._say(right, word, now_s)
                if right:
                    self._go_on(ears, now_s)
        return self._track

    def step(self, ears: Ears, now_s: float) -> int | None:
        """Time goes on; the input to be played now, None where no round runs."""
        track = self._track
        if track is None:
            return None
        if ears.fault is not None and self._interrupts and ears.fault != track:
            self._leave(now_s)
            self._queue.insert(0, track)
            self._enter(ears.fault, now_s)
            self._in_fault = True  # it may well be silent
        elif track not in ears.tracks and not self._in_fault and not self._staying:
            self._go_on(ears, now_s)
        elif track in ears.talking:
            self._talked, self._talked_s = True, now_s
        if self._is_over(now_s):
            self._go_on(ears, now_s)
        return self._track

    def end(self, now_s: float) -> None:
        """The round is over."""
        self._leave(now_s)
        self._queue.clear()

    def unheard(self) -> None:
        """Nothing came out of the headphones: the round is over, and what plays does not count."""
        self._track = None
        self._queue.clear()

    def played_s(self, now_s: float) -> float:
        """How long the track that plays has been played, s; 0 while none does."""
        return 0.0 if self._track is None else now_s - self._since_s

    def _is_over(self, now_s: float) -> bool:
        if self._track is None or self._staying:
            return False
        played_s = now_s - self._since_s
        paused = now_s - self._talked_s >= PAUSE_S
        if self._talked and paused:
            return played_s >= EARLY * self._seconds
        return played_s >= self._seconds * (LINGER if self._talked else 1.0)

    def _order(self, ears: Ears) -> list[int]:
        """What shows a sign first, then what was heard longest ago."""
        first = [n for n in ears.doubtful if n in ears.tracks]
        rest = [n for n in ears.tracks if n not in first]
        return first + sorted(rest, key=self._heard_s)

    def _heard_s(self, track: int) -> float:
        one = self._heard.get(track)
        return -1.0 if one is None else one.at_s

    def _go_on(self, ears: Ears, now_s: float) -> None:
        self._leave(now_s)
        while self._queue:
            track = self._queue.pop(0)
            if track in ears.tracks:
                self._enter(track, now_s)
                return

    def _back(self, now_s: float) -> None:
        if not self._past:
            return
        track, before = self._track, self._past.pop()
        self._leave(now_s)
        self._past.pop()
        if track is not None:
            self._queue.insert(0, track)
        self._enter(before, now_s)

    def _enter(self, track: int, now_s: float) -> None:
        self._track, self._since_s, self._talked_s = track, now_s, now_s
        self._talked = self._staying = self._in_fault = False

    def _leave(self, now_s: float) -> None:
        track, self._track = self._track, None
        if track is None:
            return
        self._past.append(track)
        if now_s - self._since_s >= COUNTS_S:
            said = self._heard.get(track)
            if said is None or said.from_s != self._since_s:
                said = Heard(track, self._since_s, now_s)
            self._keep(replace(said, at_s=now_s))

    def _say(self, right: bool, word: str, now_s: float) -> None:
        if self._track is not None:
            self._heard[self._track] = Heard(self._track, self._since_s, now_s, right, word.strip())
            if now_s - self._since_s < COUNTS_S:
                self._keep(self._heard[self._track])

    def _keep(self, heard: Heard) -> None:
        self._heard[heard.track] = heard
        self._unlogged.append(heard)

    def take_unlogged(self) -> list[Heard]:
        """What was listened to since the last call, for the log."""
        fresh, self._unlogged = self._unlogged, []
        return fresh

    def state(self, now_s: float) -> RoundState:
        """How it stands now."""
        left_s = self._since_s + self._seconds - now_s
        return RoundState(
            self._track,
            0.0 if self._track is None or self._staying else max(left_s, 0.0),
            self._staying,
            tuple(self._queue),
            tuple(self._heard[n] for n in sorted(self._heard)),
        )
