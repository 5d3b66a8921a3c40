"""Accounts for audio that one watch's input lost: how much before each block, and why."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from engine.model.messages import Block
from engine.runtime.host import Host
from engine.sources.base import SourceInfo
from engine.sources.clock_drift import ClockDrift
from engine.sources.frame_balance import FrameBalance

LEAST_SLEEP_S: Final = 0.5
"""A computer asleep for less has lost no more than its drivers hold. Ours."""

SETTLE_S: Final = 3.0
"""After a loss measured by the clock, audio in excess of it is left out for so long. Ours."""

BUSY: Final = "the computer was too busy to take the audio in"


class LostAudio:
    """What is lost of the audio that was due, by the host's clock.

    Parameters
    ----------
    info : SourceInfo
    speed : float
        A take is replayed so many times faster than real time.
    host : Host
    away_s : float, optional
        After a restart: for how long nothing was watched, s.
    """

    def __init__(self, info: SourceInfo, speed: float, host: Host, away_s: float | None) -> None:
        self._info, self._speed, self._host = info, speed, host
        self._restarted, self._away_s = away_s is not None, away_s or 0.0
        self.reason = ""
        """Why no audio comes, one line; empty while it comes."""
        self.last_audio_at = host.clock()
        """When the newest audio came, by the host's clock, s."""
        self.lost_since: float | None = None
        """Since when no audio comes, by the host's clock, s; None while it comes."""
        self.declared_until = self.last_audio_at
        """Up to when a stall was said to be lost already, by the host's clock, s."""
        self.waiting_s = 0.0
        """Audio that waited behind the newest block, s."""
        self.drift = ClockDrift(info.sample_rate_hz)
        self._balance = FrameBalance(info.sample_rate_hz)
        self._suspended_s = host.suspended_s()
        self._slept_s = 0.0
        self._settle_until = -math.inf

    def begin_from(self, fed_s: float, begin_s: float) -> None:
        """After a restart: `fed_s` were measured, but stream time goes on from `begin_s`."""
        self._away_s += (fed_s - begin_s) / self._speed
        self.lost_since = self.last_audio_at - self._away_s

    def look_at_sleep(self) -> None:
        """Note for how long the computer slept since the last look."""
        suspended_s = self._host.suspended_s()
        slept_s, self._suspended_s = suspended_s - self._suspended_s, suspended_s
        if self._info.live and slept_s > LEAST_SLEEP_S:
            self._slept_s += slept_s

    def account(self, block: Block, now: float) -> Block:
        """The block with all that was lost before it; sets `reason` for it."""
        self.last_audio_at = now
        self.waiting_s = block.waiting_frames / self._info.sample_rate_hz
        if not self._info.live:
            return self._account_take(block)
        if block.lost_frames:  # a driver's own count may be too high
            self._settle_until = now + SETTLE_S
            self._balance.look_closely(now)
        if self.lost_since is None:
            block = self._without_surplus(block, now)
        rate_hz = self._info.sample_rate_hz
        if self.lost_since is None and not self._slept_s:
            frames = len(block.samples) + block.lost_frames
            untold = self._balance.add(now, frames, block.waiting_frames, self.drift.ppm)
            if untold:
                self._settle_until = now + SETTLE_S
            if untold or block.lost_frames:
                self.reason = BUSY
            return replace(block, lost_frames=block.lost_frames + untold)
        block = self._without_declared(block, now)
        frames_lost = self._balance.gap(now, len(block.samples))
        if self._restarted and self.lost_since is not None:
            frames_lost = round((now - self.lost_since) * rate_hz) - len(block.samples)
        self._restarted = False
        if self._slept_s:
            frames_lost += round(self._slept_s * rate_hz)
            self.reason = f"the computer slept for {self._slept_s:.1f} s"
        self.reason = self.reason or "the watch was restarted"
        self.drift = ClockDrift(rate_hz)
        self._settle_until = now + SETTLE_S
        return replace(block, lost_frames=max(frames_lost, block.lost_frames, 0))

    def _without_declared(self, block: Block, now: float) -> Block:
        """The first block after a stall without what lies in time that was told as lost."""
        if self.lost_since is None or self._restarted:
            return block
        declared_s = max(self.declared_until - self.lost_since, 0.0)
        room = self._balance.missing(now) - round(declared_s * self._info.sample_rate_hz)
        surplus = min(max(len(block.samples) - max(room, 0), 0), len(block.samples))
        return replace(block, samples=block.samples[surplus:])

    def _account_take(self, block: Block) -> Block:
        if self.lost_since is None:
            return block
        self.reason = self.reason or "the watch was restarted"
        frames_lost = round(self._away_s * self._speed * self._info.sample_rate_hz)
        return replace(block, lost_frames=max(frames_lost, block.lost_frames, 0))

    def _without_surplus(self, block: Block, now: float) -> Block:
        """After a loss that the clock measured: without what came within it, but is told as lost.

        A sound server hands over what it held all at once; stream time must not run ahead.
        """
        if now > self._settle_until:
            return block
        surplus = self._balance.ahead(now, len(block.samples) + block.lost_frames)
        frames_lost = max(block.lost_frames - surplus, 0)
        return replace(
            block,
            samples=block.samples[surplus - block.lost_frames + frames_lost :],
            lost_frames=frames_lost,
        )

    def audio_came(self, block: Block, now: float) -> None:
        """The block was taken in: no loss lasts any longer."""
        if self._info.live:
            self.drift.add(now, len(block.samples) + block.lost_frames)
        self.reason, self.lost_since, self._slept_s = "", None, 0.0

    def missing_s(self) -> float:
        """For how long a live input has delivered nothing, s; 0 while it delivers."""
        if not self._info.live:
            return 0.0
        if self.lost_since is None:
            return self._slept_s
        return self._slept_s + max(self._host.clock() - self.lost_since, 0.0)

    def steady_s(self) -> float:
        """When the newest audio came, by a steady clock that counts the computer's sleep, s."""
        newest_s = self._balance.newest_due_s
        came_s = self.last_audio_at if newest_s is None else min(newest_s, self.last_audio_at)
        return came_s + self._suspended_s - self._slept_s
