"""Many simulated carts at a real broker, and what the overview of all of them costs.

    python -m tests.benchmarks.fleet [--carts 1 10 40] [--tracks 64] [--seconds 20]

Each row: so many carts publish a normal night, then 500 alarms spread over all of them within 10 s.
CPU is the share of one core of the process that reads and sorts as `trackwarden overview` does;
lag is the longest from an alarm being handed to the library until the overview has it.
The carts run in a process of their own; mosquitto must be installed.
"""

from __future__ import annotations

import argparse
import multiprocessing
import time
from multiprocessing.synchronize import Event
from typing import Any, Final

from app.fleet.broker_address import Broker
from app.fleet.publisher import CartPublisher, MqttLink
from app.fleet.site_reader import SiteReader
from engine.model.messages import Alarm, AlarmState, Fault, Severity
from engine.model.snapshot import Snapshot
from engine.model.tracks import Plan
from tests.support.broker import broker
from tests.support.qt import fake_client

SITE: Final = "belfry"
FLOOD: Final = 500
FLOOD_S: Final = 10.0
STEP_S: Final = 0.25
"""How often the overview sorts and draws; see `app/cli/overview_command.py`."""


def _alarms(count: int) -> tuple[Alarm, ...]:
    """That many alarms, one a track."""
    made = []
    for n in range(count):
        incident = fake_client.incident(n + 1, n + 1, Fault.HUM, Severity.RED, 0.0)
        made.append(Alarm(incident, AlarmState.UNACKNOWLEDGED))
    return tuple(made)


def simulate(port: int, carts: int, tracks: int, flood: Event, over: Event, handed_at: Any) -> None:
    """The carts, each at twenty snapshots a second, made from a few prepared ones."""
    plan: Plan = fake_client.large_plan(tracks)
    watch = fake_client.watch(plan)
    each = -(-FLOOD // carts)
    shots = [
        fake_client.snapshot(plan, _alarms(min(n, tracks))) for n in range(min(each, tracks) + 1)
    ]
    crews: list[CartPublisher] = []
    for n in range(carts):
        where = Broker("127.0.0.1", port, False, SITE, f"cart-{n:02}")
        link = MqttLink(where)
        crews.append(CartPublisher(link, where, False, time.monotonic))
        link.open(crews[-1].will())
    began: float | None = None
    while not over.wait(0.1):
        if flood.is_set() and began is None:
            began = time.monotonic()
        share = 0.0 if began is None else min(1.0, (time.monotonic() - began) / FLOOD_S)
        shot: Snapshot = shots[round(share * (len(shots) - 1))]
        for crew in crews:
            crew.take_in(watch, shot)
            crew.step()
        level = shots.index(shot)
        for below in range(level + 1):
            handed_at[below] = handed_at[below] or time.monotonic()


def measure(carts: int, tracks: int, seconds: float) -> None:
    """One row of the table."""
    context = multiprocessing.get_context("spawn")
    flood, over = context.Event(), context.Event()
    with broker() as server:
        handed_at = context.Array("d", tracks + 1, lock=False)
        args = (server.port, carts, tracks, flood, over, handed_at)
        process = context.Process(target=simulate, args=args)
        process.start()
        reader = SiteReader(Broker("127.0.0.1", server.port, False, SITE))
        _look(reader, 5.0)
        quiet, _ = _look(reader, seconds)
        flood.set()
        loud, had_at = _look(reader, FLOOD_S + 2.0)
        now = time.monotonic()
        alarms, known = len(reader.carts.alarms(now)), len(reader.carts.carts(now))
        over.set()
        process.join()
        reader.close()
    print(
        f"{carts:5d}  {carts * tracks:6d}  {100 * quiet:8.2f} %  {100 * loud:8.2f} %"
        f"  {_lag_s(carts, handed_at, had_at):5.2f} s  {known:5d}  {alarms:6d}",
        flush=True,
    )


def _lag_s(carts: int, handed_at: Any, had_at: dict[int, float]) -> float:
    """The longest wait for a level of the flood: so many alarms of each cart."""
    waits = []
    for level in range(1, len(handed_at)):
        came = [at for count, at in had_at.items() if count >= carts * level]
        if handed_at[level] and came:
            waits.append(min(came) - handed_at[level])
    return max(waits, default=float("nan"))


def _look(reader: SiteReader, seconds: float) -> tuple[float, dict[int, float]]:
    """Follow for so long; returns the share of one core, and when there were how many alarms."""
    had_at: dict[int, float] = {}
    busy, began = time.process_time(), time.monotonic()
    while time.monotonic() - began < seconds:
        reader.take_in()
        now = time.monotonic()
        reader.carts.carts(now)
        count = len(reader.carts.alarms(now))
        had_at.setdefault(count, time.monotonic())
        time.sleep(STEP_S)
    return (time.process_time() - busy) / (time.monotonic() - began), had_at


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--carts", type=int, nargs="+", default=[1, 10, 40])
    parser.add_argument("--tracks", type=int, default=64)
    parser.add_argument("--seconds", type=float, default=20.0)
    given = parser.parse_args()
    print("carts  tracks  CPU, night  CPU, flood      lag  carts  alarms at the end")
    for carts in given.carts:
        measure(carts, given.tracks, given.seconds)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
