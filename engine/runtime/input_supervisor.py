"""Keeps the input of one watch open: notices when it fails or stalls, and opens it again."""

from __future__ import annotations

import math
import traceback
from dataclasses import replace
from typing import Final

from engine.detectors.guard import reason_of
from engine.model.commands import Open
from engine.model.messages import Block
from engine.runtime.host import Host, away_s
from engine.session.checkpoint import Checkpoint
from engine.sources.base import EndOfTake, Source, SourceError, SourceInfo
from engine.sources.clock_drift import ClockDrift
from engine.sources.frame_balance import FrameBalance

READ_S: Final = 0.05
"""A read waits this long at most; ours, so that snapshots come at their rate."""

STALL_S: Final = 0.7
"""No audio for this long, though no error came, is a stalled input."""

REOPEN_S: Final = 2.0
"""A stalled input is closed after this long and opened anew."""

RETRY_S: Final = 0.5
RETRY_GROWTH: Final = 0.1
SLOWEST_RETRY_S: Final = 2.0
"""A lost input is tried again after this long, later less often: each try is a process. Ours."""

STOOD_STILL_S: Final = 0.5
"""Between two reads: this process was stopped, or the computer too busy. Ours."""

LEAST_SLEEP_S: Final = 0.5
"""A computer asleep for less has lost no more than its drivers hold. Ours."""

SETTLE_S: Final = 3.0
"""After a loss measured by the clock, audio in excess of it is left out for so long. Ours."""

BUSY: Final = "the computer was too busy to take the audio in"

_FIRST: Final = "its cable, power, then its clock"
"""What to look at first where an interface delivers nothing."""


class InputSupervisor:
    """The source of one watch, from opening to end.

    Parameters
    ----------
    request : Open
    host : Host
    info : SourceInfo, optional
        After a restart: the source as the last engine had it.
    checkpoint : Checkpoint, optional
        After a restart: how the watch stood. A take is then opened where it is by now; a live
        input is opened by its name at the next `read`.

    Raises
    ------
    SourceError
        Where the source can't be opened.
    """

    def __init__(
        self,
        request: Open,
        host: Host,
        info: SourceInfo | None = None,
        checkpoint: Checkpoint | None = None,
    ) -> None:
        self._request, self._host = request, host
        self._restarted = checkpoint is not None
        self._away_s = 0.0 if checkpoint is None else away_s(checkpoint, host)
        self.source: Source | None
        self.info: SourceInfo
        if checkpoint is not None and info is not None and info.live:
            self.source, self.info = None, info
        else:
            self.source = self._open(checkpoint)
            self.info = self.source.info
        self.reason = ""
        """Why no audio comes, one line; empty while it comes."""
        self.ended = False
        """The take was read to its end, or can't be read any further."""
        self.last_audio_at = host.clock()
        """When the newest audio came, by the host's clock, s."""
        self.lost_since: float | None = None
        """Since when no audio comes, by the host's clock, s; None while it comes."""
        self.waiting_s = 0.0
        """Audio that waited behind the newest block, s."""
        self.drift = ClockDrift(self.info.sample_rate_hz)
        self._balance = FrameBalance(self.info.sample_rate_hz)
        self._suspended_s = host.suspended_s()
        self._slept_s = 0.0
        self._read_at = self.last_audio_at
        self._empty_since: float | None = None
        self._settle_until = -math.inf
        self._tried_at = self.last_audio_at - SLOWEST_RETRY_S
        self._stall_step_at = self.last_audio_at

    def _open(self, checkpoint: Checkpoint | None) -> Source:
        source = self._host.open_source(self._request)
        if checkpoint is None:
            return source
        source.close()
        info, request = source.info, self._request
        if info.frames is None:  # still growing: what came meanwhile is there to be looked at
            begin_s = request.start_s + checkpoint.fed_s
            return self._host.open_source(replace(request, start_s=begin_s))
        length_s = info.frames / info.sample_rate_hz - request.start_s
        played_s = checkpoint.fed_s + self._away_s * request.speed
        played_s = played_s % length_s if request.loop else min(played_s, length_s - 0.01)
        return self._host.open_source(replace(request, start_s=request.start_s + played_s))

    def begin_from(self, checkpoint: Checkpoint, fed_s: float) -> None:
        """After a restart: stream time begins at `fed_s`; what lies between is lost too."""
        self._away_s += (checkpoint.fed_s - fed_s) / self._request.speed
        self.lost_since = self.last_audio_at - self._away_s

    def close(self) -> None:
        """Let go of the source."""
        if self.source is not None:
            self.source.close()

    # ---- reading -----------------------------------------------------------------------------

    def read(self) -> Block | None:
        """The next block, or None where none came; a lost live input is looked for.

        Raises
        ------
        EndOfTake
            See `rewind`.
        """
        self._look_at_sleep()
        if self.source is None:
            self._try_again()
            return None
        begun = self._host.clock()
        try:
            block = self.source.read(READ_S)
        except SourceError as error:
            self.let_go(str(error))
            self.ended = not self.info.live
            return None
        except EndOfTake:
            raise
        except Exception as error:
            if not self.info.live:
                raise
            traceback.print_exc()
            self.let_go(f"{self.info.name} failed: {reason_of(error)}")
            return None
        # A computer that stood still has not waited for the input: its turn comes first.
        now = self._host.clock()
        stood_still = max(begun - self._read_at, now - begun) > STOOD_STILL_S
        if block is not None:
            self._empty_since = None
        elif self._empty_since is None or stood_still:
            self._empty_since = now
        self._read_at = now
        return block

    def _look_at_sleep(self) -> None:
        suspended_s = self._host.suspended_s()
        slept_s, self._suspended_s = suspended_s - self._suspended_s, suspended_s
        if self.info.live and slept_s > LEAST_SLEEP_S:
            self._slept_s += slept_s

    def rewind(self) -> bool:
        """The take ended: begin it anew where it loops; False where it is over."""
        self.close()
        self.source = self._host.open_source(self._request) if self._request.loop else None
        self.ended = self.source is None
        return not self.ended

    def let_go(self, reason: str) -> None:
        """The source failed: it is closed, and what comes from now on is lost."""
        assert self.source is not None
        self.source.close()
        self.source = None
        self.reason = reason
        if self.lost_since is None:
            self.lost_since = self.last_audio_at
        self._tried_at = self._host.clock()

    def _try_again(self) -> None:
        """An input that went away is looked for by name, not by number."""
        self._host.sleep(READ_S)
        now = self._host.clock()
        lost_s = now - (now if self.lost_since is None else self.lost_since)
        if now - self._tried_at < min(RETRY_S + RETRY_GROWTH * lost_s, SLOWEST_RETRY_S):
            return
        try:
            self.source = self._host.open_again(self.info)
        except SourceError as error:
            self.reason = str(error)
        except Exception as error:
            traceback.print_exc()
            self.reason = f"{self.info.name} can't be opened: {reason_of(error)}"
        else:
            self._empty_since = None
        self._tried_at = self._host.clock()

    # ---- gaps --------------------------------------------------------------------------------

    def account(self, block: Block, now: float) -> Block:
        """The block with all that was lost before it; sets `reason` for it."""
        self.last_audio_at = now
        self.waiting_s = block.waiting_frames / self.info.sample_rate_hz
        if not self.info.live:
            return self._account_take(block)
        if block.lost_frames:  # a driver's own count may be too high
            self._settle_until = now + SETTLE_S
        if self.lost_since is None:
            block = self._without_surplus(block, now)
        rate_hz = self.info.sample_rate_hz
        if self.lost_since is None and not self._slept_s:
            frames = len(block.samples) + block.lost_frames
            untold = self._balance.add(now, frames, block.waiting_frames, self.drift.ppm)
            if untold or block.lost_frames:
                self.reason = BUSY
            return replace(block, lost_frames=block.lost_frames + untold)
        block = self._without_declared(block, now)
        lost = self._balance.gap(now, len(block.samples))
        if self._restarted and self.lost_since is not None:
            lost = round((now - self.lost_since) * rate_hz) - len(block.samples)
        self._restarted = False
        if self._slept_s:
            lost += round(self._slept_s * rate_hz)
            self.reason = f"the computer slept for {self._slept_s:.1f} s"
        self.reason = self.reason or "the watch was restarted"
        self.drift = ClockDrift(rate_hz)
        self._settle_until = now + SETTLE_S
        return replace(block, lost_frames=max(lost, block.lost_frames, 0))

    def _without_declared(self, block: Block, now: float) -> Block:
        """The first block after a stall without what lies in time that was told as lost."""
        if self.lost_since is None or self._restarted:
            return block
        declared_s = max(self._stall_step_at - self.lost_since, 0.0)
        room = self._balance.missing(now) - round(declared_s * self.info.sample_rate_hz)
        surplus = min(max(len(block.samples) - max(room, 0), 0), len(block.samples))
        return replace(block, samples=block.samples[surplus:])

    def _account_take(self, block: Block) -> Block:
        if self.lost_since is None:
            return block
        self.reason = self.reason or "the watch was restarted"
        lost = round(self._away_s * self._request.speed * self.info.sample_rate_hz)
        return replace(block, lost_frames=max(lost, block.lost_frames, 0))

    def _without_surplus(self, block: Block, now: float) -> Block:
        """After a loss that the clock measured: without what came within it, but is told as lost.

        A sound server hands over what it held all at once; stream time must not run ahead.
        """
        if now > self._settle_until:
            return block
        surplus = self._balance.ahead(now, len(block.samples) + block.lost_frames)
        lost = max(block.lost_frames - surplus, 0)
        return replace(
            block, samples=block.samples[surplus - block.lost_frames + lost :], lost_frames=lost
        )

    def audio_came(self, block: Block, now: float) -> None:
        """The block was taken in: no loss lasts any longer."""
        if self.info.live:
            self.drift.add(now, len(block.samples) + block.lost_frames)
        self.reason, self.lost_since, self._slept_s = "", None, 0.0

    def stalls(self, now: float, tick_s: float) -> bool:
        """Nothing came: whether the alarms are to go on by the clock, once each `tick_s`."""
        if self._opening and not self.reason:
            return False
        silent_since = max(self.last_audio_at, self._empty_since or self.last_audio_at)
        if self.reason == "" and now - silent_since >= STALL_S:
            first = "its recorder, then the disk" if self.info.growing else _FIRST
            self.reason = f"{self.info.name} delivers nothing: {first}"
            if self.lost_since is None:
                self.lost_since = self.last_audio_at
        if not self.reason or now - self._stall_step_at < tick_s:
            return False
        self._stall_step_at = now
        return True

    @property
    def _opening(self) -> bool:
        """The input is about to open, which takes a driver its time."""
        return bool(getattr(self.source, "opening", False))

    def reopen_if_stuck(self, now: float) -> None:
        """Close an input that delivers nothing, so that it is opened anew."""
        if self._opening:
            self._tried_at = now
        waited_s = now - max(self.last_audio_at, self._tried_at)
        if self.source is None or not self.info.live:
            return
        if self.reason and waited_s >= STALL_S + REOPEN_S:
            self.let_go(self.reason)

    def missing_s(self) -> float:
        """For how long a live input has delivered nothing, s; 0 while it delivers."""
        if not self.info.live:
            return 0.0
        if self.lost_since is None:
            return self._slept_s
        return self._slept_s + max(self._host.clock() - self.lost_since, 0.0)

    def steady_s(self) -> float:
        """When the newest audio came, by a steady clock that counts the computer's sleep, s."""
        newest_s = self._balance.newest_due_s
        came_s = self.last_audio_at if newest_s is None else min(newest_s, self.last_audio_at)
        return came_s + self._suspended_s - self._slept_s
