"""Where sound was the same before: an exact answer, known by how the sound is made."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.measure.level import measure_hops
from engine.measure.recurrences import KNOWN_TICKS, NewTicks, Recurrences
from engine.model.messages import Samples

HOP = 80
TICK = 10 * HOP
SHORTEST, LONGEST = 20, 10 * TICK


def blocks(samples: Samples, sizes: list[int]) -> list[NewTicks]:
    """The sound in blocks of so many ticks, the last size again and again."""
    made, tick = [], 0
    while tick < len(samples) // TICK:
        size = min(sizes[min(len(made), len(sizes) - 1)], len(samples) // TICK - tick)
        part = samples[tick * TICK : (tick + size) * TICK]
        made.append(NewTicks.of(measure_hops(part, HOP, None, size), tick))
        tick += size
    return made


def recurs(samples: Samples, sizes: list[int]) -> dict[int, set[tuple[int, int, int]]]:
    """All that is found, by tick; also asks whether the sound is known as it was."""
    ring = Recurrences(samples.shape[1], HOP, SHORTEST, LONGEST)
    found: dict[int, set[tuple[int, int, int]]] = {}
    for new in blocks(samples, sizes):
        ring.write(new)
        pairs = np.argwhere(ring.candidates(new).T)
        found |= {number: set(lags) for number, lags in ring.found(new, pairs).items()}
        for ticks in range(new.first + 1, new.first + 1 + new.high.shape[1]):
            first = max(0, ticks - KNOWN_TICKS) * TICK
            for track in range(samples.shape[1]):
                assert np.array_equal(
                    ring.sound(track, ticks), samples[first : ticks * TICK, track]
                )
    return found


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**16), st.integers(SHORTEST + 1, LONGEST), st.lists(st.integers(1, 10)))
def test_noise_that_is_played_again_is_found_at_its_lag(
    seed: int, period: int, sizes: list[int]
) -> None:
    """Whatever the period and however many ticks come together; noise beside it is not."""
    rng = np.random.default_rng(seed)
    x = rng.standard_normal((24 * TICK, 2)).astype(np.float32) * np.float32(0.1)
    begin = 12 * TICK
    x[begin:, 1] = np.resize(x[begin - period : begin, 1], len(x) - begin)
    found = recurs(x, sizes or [1])
    last = 23
    assert found.keys() <= set(range(12, 24))
    lags = {lag for track, _, lag in found[last] if track == 1}
    assert lags
    assert all(lag % period == 0 for lag in lags)
    assert all(track == 1 for several in found.values() for track, _, _ in several)
    assert found == recurs(x, [1])
