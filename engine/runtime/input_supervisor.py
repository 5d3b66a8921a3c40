"""Keeps the input of one watch open: notices when it fails or stalls, and opens it again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from engine.model.commands import Open
from engine.model.messages import Block
from engine.runtime.host import Host, away_s
from engine.session.checkpoint import Checkpoint
from engine.sources.base import Source, SourceError, SourceInfo
from engine.sources.clock_drift import ClockDrift

READ_S: Final = 0.05
"""A read waits this long at most; ours, so that snapshots come at their rate."""

STALL_S: Final = 0.7
"""No audio for this long, though no error came, is a stalled input."""

REOPEN_S: Final = 2.0
"""A stalled input is closed after this long and opened anew."""

RETRY_S: Final = 0.5
"""How often a lost input is tried again."""

LET_GO_S: Final = 3.0
"""Headphones that do not let go of their output by then are not waited for any longer."""


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
        self.drift = ClockDrift(self.info.sample_rate_hz)
        self._tried_at = self.last_audio_at - RETRY_S
        self._stall_step_at = self.last_audio_at

    def _open(self, checkpoint: Checkpoint | None) -> Source:
        source = self._host.open_source(self._request)
        if checkpoint is None:
            return source
        source.close()
        info, request = source.info, self._request
        assert info.frames is not None
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

    def read(self, release_output: Callable[[bool], bool]) -> Block | None:
        """The next block, or None where none came; a lost live input is looked for.

        `release_output` is asked to close (True) or open again (False) the headphones' output,
        because looking for the input starts the audio system anew; it answers whether that is
        done.

        Raises
        ------
        EndOfTake
            See `rewind` and `finish`.
        """
        if self.source is None:
            self._try_again(release_output)
            return None
        try:
            return self.source.read(READ_S)
        except SourceError as error:
            self.let_go(str(error))
            self.ended = not self.info.live
        return None

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
        self.lost_since = self.last_audio_at
        self._tried_at = self._host.clock()

    def _try_again(self, release_output: Callable[[bool], bool]) -> None:
        """An input that went away is looked for by name, not by number."""
        self._host.sleep(READ_S)
        waited_s = self._host.clock() - self._tried_at
        if waited_s < RETRY_S:
            return
        if not release_output(True) and waited_s < LET_GO_S:
            return
        try:
            self.source = self._host.open_again(self.info)
            release_output(False)
        except SourceError as error:
            self.reason = str(error)
        self._tried_at = self._host.clock()

    # ---- gaps --------------------------------------------------------------------------------

    def account(self, block: Block, now: float) -> Block:
        """The block with what was lost before it, where audio had ceased; sets `reason` for it."""
        self.last_audio_at = now
        if self.lost_since is None:
            return block
        rate_hz = self.info.sample_rate_hz
        lost_s = now - self.lost_since - len(block.samples) / rate_hz
        if not self.info.live:
            lost_s = self._away_s * self._request.speed
        self.reason = self.reason or "the watch was restarted"
        self.drift = ClockDrift(rate_hz)
        return Block(block.samples, max(round(lost_s * rate_hz), block.lost_frames, 0))

    def audio_came(self, block: Block, now: float) -> None:
        """The block was taken in: no loss lasts any longer."""
        if self.info.live:
            self.drift.add(now, len(block.samples) + block.lost_frames)
        self.reason, self.lost_since = "", None

    def stalls(self, now: float, tick_s: float) -> bool:
        """Nothing came: whether the alarms are to go on by the clock, once each `tick_s`."""
        if self.reason == "" and now - self.last_audio_at >= STALL_S:
            self.reason = f"{self.info.name} delivers nothing: its cable, power, then its clock"
            if self.lost_since is None:
                self.lost_since = self.last_audio_at
        if not self.reason or now - self._stall_step_at < tick_s:
            return False
        self._stall_step_at = now
        return True

    def reopen_if_stuck(self, now: float) -> None:
        """Close an input that delivers nothing, so that it is opened anew."""
        waited_s = now - max(self.last_audio_at, self._tried_at)
        if self.source is not None and waited_s >= STALL_S + REOPEN_S:
            self.let_go(self.reason)

    def missing_s(self) -> float:
        """For how long a live input has delivered nothing, s; 0 while it delivers."""
        if self.lost_since is None or not self.info.live:
            return 0.0
        return max(self._host.clock() - self.lost_since, 0.0)
