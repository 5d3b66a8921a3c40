"""A take from blocks to measured ticks: here, or in a process of its own a step ahead.

Both run the same `TickFramer`. Ahead, a scan uses two cores: one process reads and measures, and
asks some of the detectors that need every sample, the other asks the rest and judges.
"""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain
from multiprocessing.connection import Connection
from typing import Any, Final

from engine.detectors.guard import reason_of
from engine.detectors.sample_bank import SampleDetectorBank
from engine.measure.level import HOPS_PER_TICK
from engine.measure.meter import Totals
from engine.model.tick import Tick
from engine.model.tracks import Scene
from engine.model.units import hop_frames
from engine.pipeline.framing import TickFramer
from engine.pipeline.shared_sound import SharedSound
from engine.pipeline.tick_transport import PackedTicks, pack, unpack
from engine.sources.base import EndOfTake, Source, SourceError
from engine.sources.take import open_take
from engine.sources.take_files import Take, path_of
from engine.system.platform_calls import can_fork

READ_TIMEOUT_S: Final = 1.0
"""A disk may take its time; asked again until the take ends or fails."""

FORK_WORTH_S: Final = 20.0
SPAWN_WORTH_S: Final = 120.0
"""A shorter take is done before a second process is up."""

TICKS_AT_ONCE: Final = 10
"""So many travel together: what they share, as the answers of detectors that see nothing, goes
once, and neither process waits for the other at every tick."""
SHARED_TRACK_TICKS: Final = 640
"""Ticks times tracks that travel together at most: with the slots on their way 37 MB at 48 kHz."""

TRACK_TICKS_AT_ONCE: Final = 640
"""Ticks times tracks that are measured together at most: a quarter of it takes a scan of 64 tracks
20 MB less and 6 % longer."""


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """Ticks of the next stretch of a take; the last item of a take has none, but the totals.

    frames, lost_frames : how much of the take is done, and how much of that was lost
    """

    frames: int
    lost_frames: int
    ticks: tuple[Tick, ...] = ()
    totals: Totals | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Sent:
    """The same as it travels."""

    frames: int
    lost_frames: int
    ticks: PackedTicks | None
    totals: Totals | None


def measure(
    source: Source, scene: Scene, sample_bank: SampleDetectorBank | None = None
) -> Generator[Measured, None, None]:
    """Measure a source to its end; closes it. `sample_bank` is asked about each tick.

    Raises
    ------
    SourceError
        If it can't be read to its end.
    """
    framer, frames, lost = TickFramer(scene), 0, 0
    at_once = ticks_at_once(len(scene.tracks))
    try:
        while True:
            block = source.read(READ_TIMEOUT_S)
            if block is None:
                continue
            frames += len(block.samples) + block.lost_frames
            lost += block.lost_frames
            ticks = (
                *framer.lose(block.lost_frames, reported=False),
                *framer.feed(block.samples, at_once),
            )
            if sample_bank is not None:
                parts = map(sample_bank.listen, in_parts(ticks, at_once))
                ticks = tuple(chain.from_iterable(parts))
            yield Measured(frames, lost, ticks)
    except EndOfTake:
        framer.finish()
        yield Measured(frames, lost, totals=framer.meter.totals())
    finally:
        source.close()


def measure_ahead(take: Take, scene: Scene) -> Generator[Measured, None, None]:
    """The same of a take, measured by another process while this one judges.

    Raises
    ------
    SourceError
        If the take can't be read to its end.
    """
    context = _context()
    here, there = context.Pipe(duplex=False)
    tick_frames = HOPS_PER_TICK * hop_frames(scene.sample_rate_hz)
    together = max(1, min(TICKS_AT_ONCE, SHARED_TRACK_TICKS // max(1, len(scene.tracks))))
    sound = SharedSound(context, len(scene.tracks), tick_frames, together)
    what = (take, scene, there, sound, together)
    process = context.Process(target=_send_all, args=what, daemon=True)
    process.start()
    there.close()
    sound.begin_reading()
    try:
        while True:
            try:
                newest: _Sent | SourceError = here.recv()
            except EOFError:
                raise SourceError(
                    f"{path_of(take)}: the process that measures ended: try again"
                ) from None
            if isinstance(newest, SourceError):
                raise newest
            ticks: tuple[Tick, ...] = ()
            if newest.ticks is not None:
                ticks = unpack(newest.ticks, sound.read(len(newest.ticks.numbers)))
            yield Measured(newest.frames, newest.lost_frames, ticks, newest.totals)
            if newest.totals is not None:
                return
    finally:
        here.close()
        sound.close()
        process.terminate()
        process.join()


def ticks_at_once(tracks: int) -> int:
    """Ticks of so many tracks that are best read and measured together."""
    return max(1, min(TICKS_AT_ONCE, TRACK_TICKS_AT_ONCE // max(1, tracks)))


def in_parts(ticks: Sequence[Tick], size: int) -> Iterator[Sequence[Tick]]:
    """The same in order, so many at once."""
    return (ticks[first : first + size] for first in range(0, len(ticks), size))


def is_worth_it(duration_s: float) -> bool:
    """Whether a take of that length is done sooner with a second process."""
    return duration_s >= (FORK_WORTH_S if can_fork() else SPAWN_WORTH_S)


def _context() -> Any:  # typed differently on each system
    return multiprocessing.get_context("fork" if can_fork() else "spawn")


def _send_all(take: Take, scene: Scene, out: Connection, sound: SharedSound, together: int) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent ends this process by itself
    sound.begin_writing()
    try:
        try:
            ticks: list[Tick] = []
            source = open_take(take, block_s=0.1 * ticks_at_once(len(scene.tracks)))
            for measured in measure(source, scene, SampleDetectorBank(scene)):
                ticks += measured.ticks
                done = (measured.frames, measured.lost_frames)
                while len(ticks) >= together:
                    sound.write(ticks[:together])
                    out.send(_Sent(*done, pack(ticks[:together]), None))
                    del ticks[:together]
                if measured.totals is not None:
                    if ticks:
                        sound.write(ticks)
                    out.send(_Sent(*done, pack(ticks) if ticks else None, measured.totals))
        except SourceError as error:
            out.send(error)
        except BrokenPipeError:
            raise
        except Exception as error:
            out.send(SourceError(f"{path_of(take)}: can't be measured: {reason_of(error)}"))
    except BrokenPipeError:  # nobody wants to know any more
        pass
