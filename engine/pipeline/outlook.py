"""What runs beside the alarms and never touches them: early signs, and who is heard where.

Whatever goes wrong here is said and begins anew; no alarm comes later for it.
"""

from __future__ import annotations

import sys
import traceback
from collections.abc import Sequence
from typing import Final

from engine.alarms.book import Book
from engine.detectors import learned as memories
from engine.detectors.guard import reason_of
from engine.early_signs.battery_signs import BatterySigns
from engine.early_signs.sign_watch import SignWatch
from engine.model.batteries import Battery, planned_end_s
from engine.model.early_signs import MOST_SHOWN, PERIOD_S, EarlySign, SignEvent
from engine.model.messages import Flags, Measurement
from engine.model.pickups import Pickup
from engine.model.track_remap import TrackRemap
from engine.model.tracks import Scene
from engine.pickup.pickup_map import PickupMap
from engine.pickup.pickup_meter import PickupMeter
from engine.pickup.pickup_stretches import StretchRecorder

RETRY_S: Final = 10.0
"""After an exception it rests for so long. Ours."""


class Outlook:
    """Early signs and pickups of one watch; with `on` False there are none.

    `problems` says in one line why there are none at the moment; empty where all is well. `ends` is
    the planned end's time of day, "" where nobody said; `midnight_s` that of stream time 0.
    """

    def __init__(self, scene: Scene, *, on: bool = True) -> None:
        self.problems: tuple[str, ...] = ()
        self.ends, self.midnight_s = "", 0.0
        self._on, self._scene = on, scene
        self._events: list[SignEvent] = []
        self._rests_until_s = 0.0
        self._batteries, self._batteries_due_s = BatterySigns(), 0.0
        self._stretches = StretchRecorder()
        self._begin()

    def _begin(self, heard: PickupMap | None = None) -> None:
        self._signs = SignWatch(self._scene)
        self._pickups = PickupMeter(self._scene, heard)
        self._pickups.map.on_second = self._stretches.add

    def update(
        self, m: Measurement, faulty: Flags, *, resting: bool, batteries: Sequence[Battery] = ()
    ) -> None:
        """Take in one tick that was judged.

        `faulty` are tracks with an alarm or out of service; `resting`: standby or a break.
        """
        if not self._on or m.end_s < self._rests_until_s:
            return
        try:
            self._pickups.update(m, set(faulty.nonzero()[0].tolist()))
            self._events += self._signs.update(m, faulty, resting)
            self._look_at(batteries, m.end_s)
            self.problems = ()
        except Exception as error:  # a watch without early signs is still one
            traceback.print_exception(error, file=sys.stderr)
            self.problems = (f"early signs began anew: {reason_of(error)}",)
            self._rests_until_s = m.end_s + RETRY_S
            self._begin()

    def _look_at(self, batteries: Sequence[Battery], now_s: float) -> None:
        """Each ten seconds: which will not last to the planned end, which went quickly."""
        if now_s >= self._batteries_due_s:
            self._batteries_due_s = now_s + PERIOD_S
            end_s = planned_end_s(self.ends, self.midnight_s, now_s)
            self._events += self._batteries.update(batteries, now_s, end_s)

    def change(self, scene: Scene, remap: TrackRemap) -> None:
        """Go on by a changed plan, with what is known of the tracks that stay."""
        self._scene = scene
        signs, heard = self._signs, self._pickups.map
        self._begin(heard)
        self._signs.carry(signs, remap)

    @property
    def learned(self) -> tuple[memories.Memory, ...]:
        """Each sign's normal, for a later start."""
        return memories.keep([self._signs] if self._on else [])

    def restore(self, learned: tuple[memories.Memory, ...]) -> None:
        """Go on from the normals that an earlier watch learned."""
        memories.restore([self._signs], learned)

    def finish(self) -> None:
        """The watch ends: so does the stretch that runs."""
        self._stretches.finish()

    def take_events(self) -> list[SignEvent]:
        """Signs that began or ended since the last call, for the log."""
        events, self._events = self._events, []
        return events

    def take_stretches(self) -> list[Pickup]:
        """Ten seconds of each performer on each track that ended since the last call."""
        return self._stretches.take()

    @property
    def signs(self) -> tuple[EarlySign, ...]:
        """Those the crew is shown, at most three."""
        return (*self._signs.standing, *self._batteries.standing)[:MOST_SHOWN]

    def doubtful(self) -> tuple[int, ...]:
        """Input numbers with a sign, the furthest from normal first."""
        return tuple(dict.fromkeys(n for sign in self._signs.standing for n in sign.tracks))

    def pickups(self, book: Book, now_s: float) -> tuple[Pickup, ...]:
        """Of each performer whom nothing covers, the best other track that heard them."""
        lost = [cover.who for cover in book.covers() if cover.uncovered]
        if not lost:
            return ()
        tracks = self._scene.tracks
        bad = {t.input for t, worst in zip(tracks, book.severities(), strict=True) if worst}
        bad.update(book.inputs_out_of_service)
        found = (self._pickups.map.best(who, now_s, bad) for who in lost)
        return tuple(pickup for pickup in found if pickup is not None)
