"""What physics lets anybody tell a minute before the alarm, of failures that are made of events.

python -m tests.benchmarks.early_signs.limits

An observer who misses no outage and no pop of `failures`, no lost block of `fading_links`, and
knows that health has none, tells a sign at the first, second or third within three minutes. Before
the first there is nothing to see: no rule tells more than at one event. The alarm comes with the
first gap or burst of 5 ms, or the third pop in 10 s (CONTRACT.md).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from engine.detectors.base import stretches
from engine.inject.slow_failure import outages
from engine.model.early_signs import SignKind
from tests.benchmarks.early_signs.fading_links import lost_blocks
from tests.benchmarks.early_signs.failures import PIECE_S, Rng, pops_a_minute
from tests.benchmarks.early_signs.stage import FAILING_S, OUTAGES
from tests.benchmarks.early_signs.watched import EARLY_S
from tests.benchmarks.night.voices import RATE

RUNS: Final = 400
BLOCK_RUNS: Final = 100
WITHIN_S: Final = 180.0
GAP_S: Final = 0.005

Times = np.ndarray


def link(rng: Rng) -> tuple[Times, float]:
    """Outages of a link that fades, and the first that is an alarm."""
    found = [
        (float(second) + at_s, length_s)
        for second in range(FAILING_S)
        for at_s, length_s in outages(32.0 - 30.0 * second / FAILING_S, 1.0, rng)
    ]
    times = np.sort([at_s for at_s, _ in found])
    return times, min((at_s for at_s, s in found if s >= GAP_S), default=float(FAILING_S))


def blocks(rng: Rng) -> tuple[Times, float]:
    """Runs of lost blocks, and the first whose silence, all but its first block, takes 5 ms."""
    size = round(float(rng.uniform(0.001, 0.004)) * RATE)
    times: list[float] = []
    for begin_s in range(0, FAILING_S, PIECE_S):
        lost = lost_blocks(PIECE_S * RATE, size, begin_s / FAILING_S, rng)
        for begin, end in zip(*stretches(lost), strict=True):
            times.append(begin_s + float(begin + 1) * size / RATE)
            if (end - begin - 1) * size >= GAP_S * RATE:
                return np.array(times), times[-1]
    return np.array(times), float(FAILING_S)


def contact(rng: Rng) -> tuple[Times, float]:
    """Pops of a contact, and the third within ten seconds."""
    times = np.sort(
        np.concatenate(
            [
                begin_s + rng.uniform(0.0, PIECE_S, rng.poisson(_pops(begin_s)))
                for begin_s in range(0, FAILING_S, PIECE_S)
            ]
        )
    )
    third = times[2:][times[2:] - times[:-2] < 10.0]
    return times, float(third[0]) if len(third) else float(FAILING_S)


def _pops(begin_s: float) -> float:
    """Expected in the piece that begins then."""
    return pops_a_minute((begin_s + 0.5 * PIECE_S) / FAILING_S) * PIECE_S / 60.0


def ahead_s(times: Times, alarm_s: float, needed: int) -> float:
    """How long before the alarm so many came within three minutes; negative where after it."""
    last = times[needed - 1 :]
    soon = last[last - times[: len(last)] < WITHIN_S]
    return alarm_s - float(soon[0]) if len(soon) else -np.inf


OBSERVERS: Final[dict[tuple[str, SignKind], Callable[[Rng], tuple[Times, float]]]] = {
    ("all", SignKind.GAPS): blocks,
    (OUTAGES, SignKind.GAPS): link,
    (OUTAGES, SignKind.BURSTS): link,
}
"""Of failures, by model and kind, that show nothing but events of which one is an alarm."""


def share(make: Callable[[Rng], tuple[Times, float]], needed: int) -> float:
    """Of failures so made, those that are told a minute ahead at that event."""
    rng = np.random.default_rng(1)
    runs = [make(rng) for _ in range(BLOCK_RUNS if make is blocks else RUNS)]
    return float(np.mean([ahead_s(times, alarm_s, needed) >= EARLY_S for times, alarm_s in runs]))


def main() -> None:
    """Print the shares."""
    for make in (link, blocks, contact):
        for needed in (1, 2, 3):
            told = f"{share(make, needed):.0%} a minute ahead"
            print(f"{make.__name__:8} {needed} events: {told}")


if __name__ == "__main__":
    main()
