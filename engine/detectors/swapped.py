"""Swapped: inputs changed places; what the plan calls one performer is another.

Model: the packs of one body hear one voice (`pack_matches`), and each pack's own wearer shapes its
spectra (`voice_models`). Where one pack of a pair hangs on another's input, packs of two performers
match and their own mates do not; where both changed places, or there is but one, each input carries
the voice that was learned on the other. Somebody who leans to another's pack is still heard on
their own, so a voice counts as moved only where the input it came from carries the other's, or
where it is as loud as ever and its own input has not had it since: a pack brings its gain along.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, quiet_ticks, unknown
from engine.detectors.own_speech import OwnSpeech
from engine.detectors.pack_matches import PackMatches, PackTick, tick_sums
from engine.detectors.voice_models import VoiceModels
from engine.measure.tick_block import Ahead, TickBlock
from engine.model.flag_arrays import indices
from engine.model.messages import Condition, Fault, Kind, Measurement, PackLevel
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene

DEFAULT_S = 10.0
"""Speech that the plan waits for by default (CONTRACT.md)."""
EACH = 0.3
"""Share of the seconds of a match with which it joins others, where one shift explains all."""
ONE_WAY = 0.4
"""Share of the speech waited for in which one input carries another's voice, if that is all."""
AS_LOUD_DB = 4.0
"""A pack brings its own gain: its wearer is as loud through it as before, within 1.5 dB over some
seconds (ours, measured); through another's pack the distance and its gain make more."""
ALL = "all inputs"
NOT_ALONE = 5
"""Ticks of the own voice that may be chance."""


@dataclass(frozen=True, slots=True)
class _Swap:
    """Two track indices, since when, and what it looks like."""

    one: int
    other: int
    since_s: float
    words: str


def _swap(one: int, other: int, since_s: float, words: str) -> _Swap:
    return _Swap(min(one, other), max(one, other), since_s, words)


class Swapped(TrackMemory):
    """Reports each pair of inputs that changed places on the higher one, with the lower."""

    NEEDS_SAMPLES: ClassVar = True

    _matches: PackMatches = remembered(By.PART, lambda d: d._new_matches())
    _voices: VoiceModels = remembered(By.PART, lambda d: d._new_voices())
    _swaps: dict[int, _Swap] = remembered(By.ANEW, lambda _: {})

    def __init__(
        self,
        scene: Scene,
        *,
        alike: float = 0.65,
        unlike: float = 0.6,
        match_share: float = 0.1,
        louder: float = 2.5,
        learn_s: float = 2.0,
        clip: float = 4.0,
        fits: float = 1.5,
        both: float = 16.0,
        most: float = 60.0,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        alike, unlike : float
            See `PackMatches`: own mates reach 0.8 in 95 % of the ticks of their wearer's speech,
            another's 0.7 in 10 % (measured in rooms with 1.4 s of reverberation).
        match_share : float
            Share of the speech waited for in which strangers must match: most of what is said is
            drowned by others, or lasts under half a tick.
        louder, learn_s, clip, fits, most : float
            See `VoiceModels`. Natural logarithms where it says so.
        both : float
            Natural logarithm. Least score of each where two inputs carry each other's voice: one in
            e^16 at a time if frames were as independent as the model has them, which they are not.
        """
        self._alike, self._unlike, self._match_share = alike, unlike, match_share
        self._louder, self._learn_s, self._clip, self._fits = louder, learn_s, clip, fits
        self._both, self._most = both, most
        self._watched = scene.watched(Fault.SWAPPED)
        self._scene, self._tracks = scene, len(scene.tracks)
        self._open = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        lavs = scene.kinds(Kind.LAV) & self._watched
        safety = np.array([t.level is PackLevel.SAFETY for t in scene.tracks], dtype=np.bool_)
        self._packs: NDArray[np.int64] = indices(lavs)
        self._mains: NDArray[np.int64] = indices(lavs & ~safety)
        waits_s = scene.numbers("swapped_amber_s")[self._packs]
        self._waits_s = float(waits_s.min(initial=600.0))
        self._share = self._waits_s / DEFAULT_S
        self._main_of = {b: a for a, b in scene.pairs()}
        self._ahead = Ahead(self._foresee)
        self.reset()

    def _new_matches(self) -> PackMatches:
        most_s = 1.5 * self._match_share * self._waits_s
        return PackMatches(
            self._scene, self._packs, alike=self._alike, unlike=self._unlike, most_s=most_s
        )

    def _new_voices(self) -> VoiceModels:
        return VoiceModels(
            self._mains,
            self._scene.sample_rate_hz,
            louder=self._louder,
            learn_s=self._learn_s,
            clip=self._clip,
            fits=self._fits,
            doubt=self._both,
            most=self._most * max(1.0, self._share),
            mates={main: safety for safety, main in self._main_of.items()},
            witnesses=self._packs,
            rivals={int(n): self._rivals(int(n)) for n in self._mains},
            alike=self._alike,
        )

    def _rivals(self, track_index: int) -> NDArray[np.int64]:
        """The packs of all other performers."""
        of = [self._performer(int(n)) != self._performer(track_index) for n in self._packs]
        return self._packs[np.array(of, dtype=np.bool_)]

    def look_ahead(self, block: TickBlock) -> None:
        """Look for speech in those ticks at once."""
        self._ahead.look(block)

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active while inputs carry each other's packs."""
        if measurement is None or len(self._packs) < 2:
            return unknown(self._tracks)
        m = measurement
        packs, spoken, calm = self._ahead.of(m)
        self._matches.update(m, packs)
        if spoken is not None and self._matches.rises(spoken.track_index):
            self._voices.update(spoken, m.start_s)
        self._follow()
        if not self._swaps:
            return calm
        known = m.any_valid & self._watched
        active = np.zeros(self._tracks, dtype=np.bool_)
        onset_s, last_s = np.full((2, self._tracks), np.nan)
        partners = np.full(self._tracks, -1, dtype=np.int64)
        for at, swap in self._swaps.items():
            active[at], partners[at] = True, swap.one
            onset_s[at], last_s[at] = swap.since_s, m.end_s
            if swap.words.startswith(ALL):
                others = self._open & (partners < 0)
                partners[others] = indices(others)
        never = np.zeros(self._tracks, dtype=np.bool_)
        return condition(active & known, known, onset_s, last_s, never, partners)

    def _foresee(self, block: TickBlock) -> Iterator[tuple[PackTick, OwnSpeech | None, Condition]]:
        """What is a plain function of each tick, and what is said where nothing is swapped."""
        sums, calm = tick_sums(block), quiet_ticks(block.field("any_valid") & self._watched)
        packs, spoken = self._matches.foresee(block, sums), self._voices.foresee(block, sums)
        return zip(packs, spoken, calm, strict=True)

    def _follow(self) -> None:
        """What stands now; of performers who are in several, one alarm, where it began."""
        if not self._matches.matches and not self._voices.others:
            self._swaps = {}
            return
        groups: list[tuple[set[int], list[_Swap]]] = []
        for swap in self._found():
            who = {self._performer(swap.one), self._performer(swap.other)}
            joined = [group for group in groups if group[0] & who]
            groups = [group for group in groups if not group[0] & who]
            of_all = [one for _, swaps in joined for one in swaps]
            groups.append((who.union(*(whos for whos, _ in joined)), [*of_all, swap]))
        before, self._swaps = self._swaps, {}
        for whos, swaps in groups:
            first = swaps[0]
            since_s = min(swap.since_s for swap in swaps)
            at, one = first.other, first.one
            for earlier_at, earlier in before.items():
                if self._performer(earlier_at) in whos:
                    at, one = earlier_at, earlier.one
            self._swaps[at] = _Swap(one, at, since_s, first.words)

    def _found(self) -> list[_Swap]:
        """All that speaks for a swap, what tells most first."""
        voices, matches = self._by_voices(), self._by_matches()
        moved = any(swap.words.startswith(ALL) for swap in matches)
        return [*matches, *voices] if moved else [*voices, *matches]

    def _performer(self, track_index: int) -> int:
        """The index of the main of the pack's performer."""
        return self._main_of.get(track_index, track_index)

    def _by_matches(self) -> list[_Swap]:
        """Packs of strangers that match: which of their inputs changed places."""
        least_s = self._match_share * self._waits_s
        several = [(p, m) for p, m in self._matches.matches.items() if m.seconds >= EACH * least_s]
        found = [(pair, match) for pair, match in several if match.seconds >= least_s]
        shift = self._shift([pair for pair, _ in found])
        if not shift and sum(match.seconds for _, match in several) >= least_s:
            shift = self._shift([pair for pair, _ in several])
            found = several if shift else found
        swaps = []
        for (a, b), match in sorted(found, key=lambda item: item[1].since_s):
            one, other = self._performer(a), self._performer(b)
            words = "main and safety belong to two performers"
            if shift:
                words = f"{ALL} are moved by {abs(shift)}"
            elif self._spoken_as_itself(one) and self._spoken_as_itself(other):
                one, other = self._safety(one), self._safety(other)
                words = "the safeties of two performers changed places"
            elif self._carries(one, other) or self._carries(other, one):
                words = "the mains of two performers changed places"
            if one != other:
                swaps.append(_swap(one, other, match.since_s, words))
        return swaps

    def _shift(self, found: list[tuple[int, int]]) -> int:
        """By how many inputs all were moved, if two matches or more and no other swap say so."""
        if len(found) < 2:  # as nearly always
            return 0
        inputs = [track.input for track in self._scene.tracks]
        planned = {tuple(sorted((inputs[a], inputs[b]))) for a, b in self._scene.pairs()}
        for shift in (1, -1, 2, -2):
            moved = {(inputs[a] - shift, inputs[b] - shift) for a, b in found}
            if len(moved) > 1 and moved <= planned:
                return shift
        return 0

    def _safety(self, main: int) -> int:
        return next((safety for safety, of in self._main_of.items() if of == main), main)

    def _spoken_as_itself(self, main: int) -> bool:
        """The voice on that main is still the one that was learned there."""
        since = [o for (_, voice), o in self._voices.others.items() if voice == main]
        return bool(since) and max(o.against for o in since) > 4 * NOT_ALONE

    def _carries(self, one: int, other: int) -> bool:
        found = self._voices.others.get((one, other))
        return found is not None and found.score >= self._both

    def _moved_alone(self, one: int, voice: int) -> bool:
        """Whether a voice moved with its pack while the other wearer says nothing: it is heard for
        long as loud as ever, and on its own input never. Where the second pack hears it too, that
        must have moved along: what both packs hear may be their wearer, who shouts no longer."""
        other = self._voices.others[one, voice]
        enough = other.ticks >= 10.0 * ONE_WAY * self._waits_s
        as_loud = np.abs(self._voices.louder_db(one, voice)) <= AS_LOUD_DB
        level = bool(as_loud[0] and (as_loud[1] or other.mated <= 0.5 * other.ticks))
        return enough and level and other.against == 0

    def _by_voices(self) -> list[_Swap]:
        """Inputs that carry each other's voices; one way alone is what a loud voice nearby does,
        but that is fainter than on its own pack."""
        swaps = []
        others = self._voices.others
        both = self._both * self._share
        for (one, voice), other in others.items():
            if other.score < both:
                continue
            if other.score < max(o.score for (at, _), o in others.items() if at == one):
                continue
            back = others.get((voice, one))
            if back is not None and back.score >= both:
                since_s = max(other.since_s, back.since_s)
                swaps.append(_swap(one, voice, since_s, "each carries the voice of the other"))
            elif self._moved_alone(one, voice):
                words = "one carries the voice of the other, as loud as it was there"
                swaps.append(_swap(one, voice, other.since_s, words))
        return swaps

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        swap = self._swaps.get(track_index)
        if swap is None:
            return "inputs changed places"
        one, other = (self._scene.tracks[n] for n in sorted((swap.one, swap.other)))
        return f"inputs {one.input} and {other.input}: {swap.words}"
