"""How long one tick (100 ms) takes to measure.

    python -m tests.benchmarks.speed tick

Two sounds: noise after one loud second, as most of a take is (nearly no true peak is
interpolated), and noise that never grows louder (the interpolator's worst case, nearly all is).
"""

from __future__ import annotations

import time
from statistics import median

import numpy as np

from engine.measure.meter import Meter
from engine.model.messages import Samples
from tests.support.signals import noise, scene

TRACKS = (1, 12, 16, 64, 128)
RATES_HZ = (48_000, 96_000)
TICKS = 60


def tick_ms(tracks: int, rate_hz: int, steady: bool) -> tuple[float, float]:
    """Median wall time and mean processor time of one tick, milliseconds."""
    meter = Meter(scene(tracks, rate_hz))
    sound = noise(-30.0, 0.1, rate_hz, tracks=tracks)
    ticks: list[Samples] = [np.roll(sound, 37 * n, axis=0).copy(order="F") for n in range(8)]
    warm_up = ticks * 2 if steady else [10.0 * ticks[0], *ticks]
    for tick in warm_up:
        meter.update(np.asarray(tick, dtype=np.float32))
    wall_s: list[float] = []
    busy_s = time.process_time()
    for n in range(TICKS):
        start_s = time.perf_counter()
        meter.update(ticks[n % len(ticks)])
        wall_s.append(time.perf_counter() - start_s)
    busy_s = time.process_time() - busy_s
    return 1e3 * median(wall_s), 1e3 * busy_s / TICKS


def main() -> None:
    """Print the table."""
    print("tracks  rate Hz   usual ms  (cpu ms)   steady ms  (cpu ms)   share of one core")
    for rate_hz in RATES_HZ:
        for tracks in TRACKS:
            usual, usual_cpu = tick_ms(tracks, rate_hz, steady=False)
            steady, steady_cpu = tick_ms(tracks, rate_hz, steady=True)
            print(
                f"{tracks:6d}  {rate_hz:7d}  {usual:9.3f}  {usual_cpu:8.3f}"
                f"  {steady:10.3f}  {steady_cpu:8.3f}  {usual_cpu:17.2f} %"
            )
