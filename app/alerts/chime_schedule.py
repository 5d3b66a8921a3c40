"""When which chime is due. Pure: all times are passed in, on any one steady scale."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from app.alerts.chime import Sound
from engine.model.messages import Alarm, AlarmEvent, AlarmState, EventKind, Severity

REPEAT_S: Final = 10.0
"""Inside the 2.5 to 15 s between bursts that IEC 60601-1-8 has for its high priority."""
FLOOD_S: Final = 3.0
"""At most one burst in this time."""
QUIET_S: Final = 120.0

_STANDING = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)


def sound_of(alarm: Alarm) -> Sound:
    """The sound of an alarm that nobody has seen."""
    if alarm.incident.uncovered:
        return Sound.UNCOVERED
    return Sound.RED if alarm.incident.severity is Severity.RED else Sound.AMBER


def _worse(one: Sound | None, other: Sound | None) -> Sound | None:
    return max((s for s in (one, other) if s), key=lambda s: s.value, default=None)


class Scheduler:
    """Decides when which sound is due.

    Goes by the alarms that stand, not by events alone, since snapshots may be skipped. What a
    flood holds back is kept while it is still true; the most urgent wins.
    """

    def __init__(self) -> None:
        self._heard: dict[int, Sound] = {}
        self._standing: set[int] = set()
        self._mute: set[int] = set()
        self._red_s = -REPEAT_S
        self._last_s = -FLOOD_S
        self._waits: Sound | None = None
        self._sure = False
        self.quiet_until_s = 0.0

    def quiet(self, now_s: float, seconds: float = QUIET_S) -> None:
        """No chime for that long; 0 lets it sound again."""
        self.quiet_until_s = now_s + seconds

    def quiet_for(self, now_s: float) -> float:
        """Seconds of quiet left."""
        return max(0.0, self.quiet_until_s - now_s)

    def due(
        self, now_s: float, alarms: Iterable[Alarm], events: Sequence[AlarmEvent] = ()
    ) -> Sound | None:
        """The sound to play now, if any; to be asked with every snapshot."""
        alarms = tuple(alarms)
        wanted = [a for a in alarms if a.state is AlarmState.UNACKNOWLEDGED]
        self._take_events(wanted, events)
        back = self._came_back(alarms)
        sounding = {a.incident.id: sound_of(a) for a in wanted}
        fresh: Sound | None = Sound.BACK if back else None
        top: Sound | None = None
        for alarm in wanted:
            number = alarm.incident.id
            if number in self._mute:
                continue
            sound, before = sounding[number], self._heard.get(number)
            repeated = alarm.unstable and before is not None
            if not repeated and (before is None or sound.value > before.value):
                fresh = _worse(fresh, sound)
            top = _worse(top, sound)
        self._heard = sounding
        if top in (Sound.RED, Sound.UNCOVERED) and self._red_again(now_s):
            fresh = _worse(fresh, top)
        self._drop_stale(top)
        return self._let(now_s, fresh)

    def _take_events(self, wanted: Sequence[Alarm], events: Sequence[AlarmEvent]) -> None:
        """Note which of them the engine calls inaudible."""
        for event in events:
            if event.kind in (EventKind.RAISED, EventKind.ESCALATED):
                put = self._mute.discard if event.audible else self._mute.add
                put(event.alarm.incident.id)
        self._mute.intersection_update(a.incident.id for a in wanted)

    def _came_back(self, alarms: Sequence[Alarm]) -> bool:
        """An alarm that stood in plain sight is over; one that comes and goes does not count."""
        states = {a.incident.id: a.state for a in alarms}
        over = (AlarmState.RETURNED, None)
        back = any(states.get(number) in over for number in self._standing)
        steady = [a for a in alarms if a.state in _STANDING and not a.unstable]
        self._standing = {a.incident.id for a in steady if a.incident.id not in self._mute}
        return back

    def _drop_stale(self, top: Sound | None) -> None:
        """What waits and is not true any more is not to be heard."""
        waits = self._waits
        if waits is None or self._sure or waits is Sound.BACK:
            return
        if top is None or top.value < waits.value:
            self._waits = None

    def due_unwatched(self, now_s: float) -> Sound | None:
        """The sound while nothing is being watched: as for a red not yet seen."""
        return self._let(now_s, Sound.RED if self._red_again(now_s) else None)

    def due_once(self, now_s: float, sound: Sound) -> Sound | None:
        """A sound for something that is no alarm: the watch stopped, the log, a long break."""
        self._sure = True
        return self._let(now_s, sound)

    def _red_again(self, now_s: float) -> bool:
        return now_s - self._red_s >= REPEAT_S

    def _let(self, now_s: float, wanted: Sound | None) -> Sound | None:
        if self.quiet_for(now_s) > 0:
            self._waits, self._sure = None, False
            return None
        self._waits = _worse(self._waits, wanted)
        if self._waits is None or now_s - self._last_s < FLOOD_S:
            return None
        due, self._waits, self._sure = self._waits, None, False
        self._last_s = now_s
        if due in (Sound.RED, Sound.UNCOVERED):
            self._red_s = now_s
        return due
