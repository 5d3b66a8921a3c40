"""Signs over whole nights of measurements: slow changes are told, health and shared changes not.

The measurements are made by hand; no source says how fast a pack fails.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from engine.detectors import learned as memories
from engine.early_signs.sign_watch import SignWatch
from engine.model import dataclass_json
from engine.model.early_signs import SignKind
from engine.model.messages import Kind, PackLevel
from engine.model.track_remap import TrackRemap
from engine.model.tracks import Scene, Track
from tests.support.measured import measured

TRACKS = (
    Track(1, "Rigger main", Kind.LAV, "rigger", PackLevel.MAIN, receiver="A"),
    Track(2, "Rigger safety", Kind.LAV, "rigger", PackLevel.SAFETY, receiver="A"),
    *(Track(n, f"Boom {n}", Kind.BOOM) for n in range(3, 8)),
)
SCENE = Scene(TRACKS, 48_000)
Change = Callable[[float, np.random.Generator], dict[str, np.ndarray]]


def night(minutes: float, change: Change, watch: SignWatch | None = None) -> tuple[SignWatch, list]:
    """Watches so many minutes; `change` gives what differs from health at each moment."""
    rng = np.random.default_rng(3)
    watch = SignWatch(SCENE) if watch is None else watch
    events = []
    for n in range(round(minutes * 600)):
        m = measured(n, len(TRACKS), rng, **change(n / 600, rng))
        events += watch.update(m, np.zeros(len(TRACKS), dtype=bool), resting=False)
    return watch, events


def floor(minute: float, tracks: list[int], db: float) -> dict[str, np.ndarray]:
    """Noise floors that rise by so much from minute 6 to 11 on those tracks."""
    rise_db = np.zeros(len(TRACKS))
    rise_db[tracks] = db * np.clip((minute - 6.0) / 5.0, 0.0, 1.0)
    return risen(rise_db)


def risen(rise_db: np.ndarray) -> dict[str, np.ndarray]:
    """Room tone whose treble lies so much higher on each track."""
    treble = 3e-7 * 10.0 ** (rise_db / 10.0)
    return {"difference_energy": np.tile(treble.astype(np.float32), (10, 1))}


def test_a_floor_that_creeps_up_on_one_track_is_a_sign() -> None:
    """8 dB in five minutes on one boom: told, with its track, curve and change."""
    watch, events = night(11.0, lambda t, _: floor(t, [4], 8.0))
    assert [(e.sign.kind, e.sign.tracks, e.began) for e in events] == [
        (SignKind.NOISE_FLOOR, (5,), True)
    ]
    (sign,) = watch.shown
    assert sign.change > 4.0
    assert 6.0 * 60 <= sign.since_s <= 9.5 * 60
    assert sign.curve[-1] is not None


def test_a_place_that_gets_louder_is_none() -> None:
    """All floors rise by 8 dB together: the crowd came."""
    _, events = night(11.0, lambda t, _: floor(t, list(range(7)), 8.0))
    assert not events


def test_a_sign_goes_away_by_itself() -> None:
    """The floor is back at normal: the sign ends within two minutes."""

    def there_and_back(t: float, _: np.random.Generator) -> dict[str, np.ndarray]:
        return floor(t, [4], 8.0) if t < 11.0 else floor(0.0, [], 0.0)

    watch, events = night(14.0, there_and_back)
    assert [e.began for e in events] == [True, False]
    assert not watch.shown


def test_packs_of_one_receiver_are_one_sign() -> None:
    """Short gaps on both packs of a receiver: one sign that names it."""

    def gaps(t: float, rng: np.random.Generator) -> dict[str, np.ndarray]:
        quietest = np.full((4, len(TRACKS)), -66.0, dtype=np.float32)
        if t > 6.0 and rng.random() < 0.02:
            quietest[0, :2] = -90.0
        return {"quietest_db": quietest}

    watch, _ = night(9.0, gaps)
    (sign,) = watch.shown
    assert (sign.kind, sign.tracks, sign.receiver) == (SignKind.GAPS, (1, 2), "A")


def test_a_track_with_an_alarm_is_not_judged() -> None:
    """What happens while an alarm stands says nothing of before."""
    rng = np.random.default_rng(3)
    watch = SignWatch(SCENE)
    faulty = np.zeros(len(TRACKS), dtype=bool)
    faulty[4] = True
    for n in range(6600):
        m = measured(n, len(TRACKS), rng, **floor(n / 600, [4], 8.0))
        assert not watch.update(m, faulty if n > 3600 else ~faulty & False, resting=False)


def test_a_changed_plan_keeps_what_is_known() -> None:
    """A track that stays keeps its normal: a floor that crept up after the change is told."""
    watch, _ = night(6.0, lambda t, _: floor(0.0, [], 0.0))
    fresh = SignWatch(Scene(TRACKS[::-1], 48_000))
    fresh.carry(watch, TrackRemap(np.arange(len(TRACKS))[::-1].copy()))
    rng = np.random.default_rng(4)
    events = []
    for n in range(3600, 5400):
        m = measured(n, len(TRACKS), rng, **risen(8.0 * (np.arange(len(TRACKS)) == 2)))
        events += fresh.update(m, np.zeros(len(TRACKS), dtype=bool), resting=False)
    assert [e.sign.tracks for e in events] == [(5,)]


def test_a_restart_keeps_each_normal() -> None:
    """Killed after six minutes and begun anew on a floor that has crept up meanwhile: told."""
    watch, _ = night(6.0, lambda t, _: floor(0.0, [], 0.0))
    (kept,) = memories.keep([watch])
    through_the_log = dataclass_json.loads(memories.Memory, dataclass_json.dumps(kept))
    fresh = SignWatch(SCENE)
    memories.restore([fresh], [through_the_log])
    rng = np.random.default_rng(4)
    events = []
    for n in range(1500):
        m = measured(n, len(TRACKS), rng, **risen(8.0 * (np.arange(len(TRACKS)) == 4)))
        events += fresh.update(m, np.zeros(len(TRACKS), dtype=bool), resting=False)
    assert [(e.sign.kind, e.sign.tracks) for e in events] == [(SignKind.NOISE_FLOOR, (5,))]
