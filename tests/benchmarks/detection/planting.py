"""Which faults go into which scene, and what must be said of each: the truths to score against."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from engine.inject.base import Planted
from engine.inject.receiver import LASTS_S, lose_receiver
from engine.inject.registry import INJECTORS, inject
from engine.model.messages import Fault, Kind, Samples
from engine.model.tracks import Track
from tests.benchmarks.detection.library import RATE
from tests.benchmarks.detection.scenes import BOOMS, CROWD, LAST, Stage
from tests.benchmarks.detection.truths import OF_A_PAIR, Judge, mate
from tests.support.scoring import Truth

STRENGTHS: Final = (0.1, 0.3, 0.5, 0.7, 0.9)
CARDS_A_SCENE: Final = 5
HEALTHY_EVERY: Final = 4
"""Every fourth seed is a scene with nothing wrong."""
FIRST_S: Final = 25.0
"""Mid-take faults begin after the detectors could learn."""
NEEDS_SPEECH: Final = (Fault.CLIPPED, Fault.DUPLICATE, Fault.UNEXPECTED)
ELSEWHERE: Final = (Fault.TIMECODE, Fault.SWAPPED, Fault.CLOCK)
"""No scene carries code, and two that change places, or a clock of all, leave no healthy track to
score: `tests.benchmarks.speed timecode` and `tests.benchmarks.night.run` are about them."""
FAULTS: Final = tuple(fault.value for fault in INJECTORS if fault not in ELSEWHERE)
DEAD_START, RECEIVER = "dead from the start", "receiver"
NEVER_HEARD_S: Final = 60.0


@dataclass(frozen=True, slots=True)
class Card:
    """One fault to plant: a fault or one of the two special cases, and its strength."""

    what: str
    strength: float


def cards_for(seed: int, only: frozenset[str] = frozenset()) -> list[Card]:
    """The cards of that seed; none on every fourth. All strengths of all faults come in turn."""
    kinds = [*FAULTS, DEAD_START, RECEIVER]
    deck = [Card(k, s) for s in STRENGTHS for k in kinds if not only or k in only]
    if seed % HEALTHY_EVERY == HEALTHY_EVERY - 1:
        return []
    number = seed - seed // HEALTHY_EVERY
    first = number * CARDS_A_SCENE
    cards = []
    for place in range(first, first + CARDS_A_SCENE):
        lap, card = divmod(place, len(deck))
        cards.append(deck[np.random.default_rng(lap).permutation(len(deck))[card]])
    return cards


class Planter:
    """Plants cards into one scene, each on tracks that nothing else touches."""

    def __init__(self, stage: Stage, rng: np.random.Generator) -> None:
        self.stage = stage
        self.samples: Samples = stage.samples
        self.truths: list[Truth] = []
        self.left_over: list[Card] = []
        self._rng = rng
        turns = {t: stage.parts[(t - 1) // 2].turns for t in range(1, BOOMS[0])}
        self._judge = Judge(stage.samples, stage.plan, turns)
        self._free = {t.input for t in stage.plan.tracks}

    def plant_all(self, cards: list[Card]) -> None:
        """Plant them, those that need most tracks first."""
        wide = (RECEIVER, *(f.value for f in (*OF_A_PAIR, Fault.DUPLICATE)))
        for card in sorted(cards, key=lambda c: c.what not in wide):
            if not self._plant(card):
                self.left_over.append(card)

    def _plant(self, card: Card) -> bool:
        if card.what == RECEIVER:
            return self._receiver(card)
        if card.what == DEAD_START:
            return self._dead_from_start(card)
        fault = Fault(card.what)
        tracks = self._choose(fault)
        if not tracks:
            return False
        begin_s, end_s = self._when(fault, tracks[0])
        planted = self._inject(fault, tracks, begin_s, end_s, card.strength)
        if fault is Fault.CLIPPED and tracks[0] < BOOMS[0] and self._rng.random() < 0.3:
            other = mate(tracks[0])
            if other in self._free:  # the safety goes too: nobody covers
                also = self._inject(fault, (other,), begin_s, end_s, card.strength)
                self._free.discard(other)
                self.truths.append(self._judge.truth(also))
        truth = self._judge.truth(planted)
        self.truths.append(truth)
        partners = self._partners(fault, tracks)
        if fault is Fault.DUPLICATE and partners:
            # The copy's pair really is at odds now: what is said of its other pack is explained.
            side = replace(truth, tracks=tuple(sorted(partners)), amber_within_s=None)
            self.truths.append(side)
        self._free -= set(tracks) | partners
        return True

    def _inject(
        self, fault: Fault, tracks: tuple[int, ...], begin_s: float, end_s: float, strength: float
    ) -> Planted:
        _, planted = inject(
            self.samples, RATE, fault, tracks, begin_s, end_s, strength, self._rng, in_place=True
        )
        return planted

    def _choose(self, fault: Fault) -> tuple[int, ...]:
        """Tracks for it among the free ones; empty where there are none."""
        packs = [t for t in range(1, BOOMS[0]) if t in self._free]
        mains = [t for t in packs if t % 2]
        pairs = [t for t in mains if t + 1 in self._free]
        booms = [t for t in BOOMS if t in self._free]
        if fault is Fault.UNEXPECTED:
            unused = self.stage.plan.track(LAST).kind is Kind.UNUSED
            return (LAST,) if unused and LAST in self._free else ()
        if fault is Fault.DUPLICATE:
            copies = [(s, c) for s in pairs for c in (*mains, *booms) if c > s]
            return self._one_of(copies)
        if fault in OF_A_PAIR:
            return self._one_of([(t + int(self._rng.integers(2)),) for t in pairs])
        if fault is Fault.CLIPPED:
            return self._one_of([(t,) for t in (*mains, *booms)])
        if fault is Fault.LOW:
            return self._one_of([(t,) for t in (*packs, *booms)])
        crowd = [CROWD] if CROWD in self._free and fault is not Fault.SILENT else []
        return self._one_of([(t,) for t in (*packs, *booms, *crowd)])

    def _one_of(self, choices: list[tuple[int, ...]]) -> tuple[int, ...]:
        return choices[self._rng.integers(len(choices))] if choices else ()

    def _partners(self, fault: Fault, tracks: tuple[int, ...]) -> set[int]:
        """Tracks that a second fault would blur this one on: the other pack of the pair."""
        paired = (*OF_A_PAIR, Fault.DUPLICATE, Fault.LOW)
        mates = {mate(t) for t in tracks if t < BOOMS[0]}
        return mates if fault in paired else set()

    def _when(self, fault: Fault, track: int) -> tuple[float, float]:
        seconds = self.stage.seconds
        if fault is Fault.LOW:
            return 0.0, seconds
        if fault in OF_A_PAIR:
            return self._rng.uniform(FIRST_S + 15.0, FIRST_S + 35.0), seconds
        span_s = INJECTORS[fault].lasts_s
        assert span_s is not None
        lasts_s = self._rng.uniform(*span_s)
        latest = seconds - lasts_s - 1.0
        if fault in NEEDS_SPEECH:
            return self._at_speech(track, lasts_s, latest)
        if track < BOOMS[0] and self._rng.random() < 0.5:
            quiet = self.stage.parts[(track - 1) // 2].quiet
            if quiet[0] > FIRST_S and quiet[1] - quiet[0] > lasts_s + 5.0:
                begin = self._rng.uniform(quiet[0] + 3.0, quiet[1] - lasts_s - 2.0)
                return begin, begin + lasts_s
        begin = self._rng.uniform(FIRST_S, latest)
        return begin, begin + lasts_s

    def _at_speech(self, track: int, lasts_s: float, latest: float) -> tuple[float, float]:
        parts = self.stage.parts
        part = parts[(track - 1) // 2] if track < BOOMS[0] else parts[self._rng.integers(4)]
        begins = [a for a, b in part.turns if FIRST_S <= a <= latest and b - a > 4.0]
        begin = float(self._rng.choice(begins)) if begins else self._rng.uniform(FIRST_S, latest)
        return begin, begin + lasts_s

    def _receiver(self, card: Card) -> bool:
        names = [n for n in "ABC" if all(t.input in self._free for t in self._on(n))]
        if not names:
            return False
        tracks = tuple(t.input for t in self._on(names[self._rng.integers(len(names))]))
        begin = self._rng.uniform(FIRST_S, self.stage.seconds - 15.0)
        end = begin + self._rng.uniform(*LASTS_S)
        _, each = lose_receiver(
            self.samples, RATE, tracks, begin, end, card.strength, self._rng, in_place=True
        )
        self.truths += [self._judge.truth(planted) for planted in each]
        onset = min(p.onset_s for p in each)
        self.truths.append(
            Truth(RECEIVER, tracks, ("muted",), onset, end, card.strength, 2.5, None, whole=True)
        )
        self._free -= set(tracks)
        return True

    def _on(self, receiver: str) -> list[Track]:
        return [t for t in self.stage.plan.tracks if t.receiver == receiver]

    def _dead_from_start(self, card: Card) -> bool:
        tracks = self._choose(Fault.DEAD_MIC)
        if not tracks or tracks[0] == CROWD:
            return False
        planted = self._inject(Fault.DEAD_MIC, tracks, 0.0, self.stage.seconds, card.strength)
        # Dead before anything was learned: "never heard", 60 s after its neighbours were (the
        # first words fall within some 5 s).
        truth = self._judge.truth(planted)
        self.truths.append(
            replace(
                truth,
                label=DEAD_START,
                names=("silent",),
                amber_within_s=NEVER_HEARD_S + 5.0,
                red_within_s=None,
            )
        )
        self._free -= set(tracks)
        return True
