"""How the cost of a scan grows: with the tracks, the sample rate and the length of the take.

    python -m tests.benchmarks.speed growth [--rows tracks rate minutes] [--longest 120] [--runs 1]

Around 16 tracks, 48 kHz and 1 min one figure changes at a time: 4, 16, 64, 128, 256 tracks; 48, 96,
192 kHz; 1, 10, 120 min. The takes are the demo take's sound, repeated and spread over the tracks,
24 bit. CPU is that of the whole process tree, memory the largest process of it; the last two
columns are what a track costs a minute, which is flat where growth is linear (the start of the
program weighs on the short ones, so it is taken off: "start" is a scan of a tenth of a second).
The longest row writes 17 GB into the temporary folder (set TMPDIR), where there is that much.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
from pathlib import Path
from typing import Final

from tests.benchmarks.side_by_side import Cost, command_for, cost_of
from tests.benchmarks.tiled import DEMO_HZ, write_apart

TRACKS: Final = (4, 16, 64, 128, 256)
RATES_HZ: Final = (48_000, 96_000, 192_000)
MINUTES: Final = (1.0, 10.0, 120.0)
_USUAL: Final = (16, DEMO_HZ, 1.0)
_KEPT_FREE: Final = 4e9
_WARM_BYTES: Final = 2e9
"""Bytes of a take that are read beforehand; a longer one does not stay in the system's cache."""

Case = tuple[int, int, float]
"""Tracks, sample rate in Hz, minutes."""


def cases(rows: list[str], longest: float) -> list[Case]:
    """What is to be scanned, each case once."""
    tracks, rate_hz, minutes = _USUAL
    found: list[Case] = []
    if "tracks" in rows:
        found += [(n, rate_hz, minutes) for n in TRACKS]
    if "rate" in rows:
        found += [(tracks, hz, minutes) for hz in RATES_HZ]
    if "minutes" in rows:
        found += [(tracks, rate_hz, length) for length in MINUTES if length <= longest]
    return list(dict.fromkeys(found))


def cost(case: Case, folder: Path, runs: int) -> Cost | None:
    """The best of the runs; None where the disk is too full for the take."""
    tracks, rate_hz, minutes = case
    size = tracks * rate_hz * 60.0 * minutes * 3
    if shutil.disk_usage(folder).free < size + _KEPT_FREE:
        return None
    path = folder / "take.wav"
    try:
        write_apart(path, tracks, minutes, rate_hz)
        if size < _WARM_BYTES:
            cost_of(command_for("reading", path))
        costs = [cost_of(command_for("trackwarden", path)) for _ in range(runs)]
    finally:
        path.unlink(missing_ok=True)
    return Cost(
        min(cost.wall_s for cost in costs),
        min(cost.cpu_s for cost in costs),
        max(cost.peak_mb for cost in costs),
    )


def row(case: Case, found: Cost | None, start: Cost) -> str:
    """One line of the table."""
    tracks, rate_hz, minutes = case
    head = f"{tracks:6d}  {rate_hz / 1000:4g} kHz  {minutes:5g} min"
    if found is None:
        return f"{head}  left out: too little room on the disk"
    each = 1000 * (found.cpu_s - start.cpu_s) / (tracks * minutes)
    each_48 = each * DEMO_HZ / rate_hz
    figures = f"{found.cpu_s:8.2f}{found.wall_s:9.2f}{60 * minutes / found.wall_s:8.0f}"
    return f"{head}{figures}{found.peak_mb:9.0f}{each:14.1f}{each_48:14.1f}"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    rows = ("tracks", "rate", "minutes")
    parser.add_argument("--rows", nargs="+", choices=rows, default=list(rows))
    parser.add_argument("--longest", type=float, default=120.0, help="minutes")
    parser.add_argument("--runs", type=int, default=1)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="growth") as name:
        start = cost((16, DEMO_HZ, 0.1 / 60), Path(name), 3)
        assert start is not None
        print(f"start: {start.cpu_s:.2f} s CPU, {start.wall_s:.2f} s, {start.peak_mb:.0f} MB")
        print(
            f"{'tracks':>6}{'rate':>10}{'length':>11}{'CPU s':>8}{'wall s':>9}{'x real':>8}", end=""
        )
        print(f"{'peak MB':>9}{'ms/track-min':>14}{'at 48 kHz':>14}")
        for case in cases(given.rows, given.longest):
            print(row(case, cost(case, Path(name), given.runs), start), flush=True)
