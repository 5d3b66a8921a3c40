"""Keeps the input of one watch open: notices when it fails or stalls, and opens it again."""

from __future__ import annotations

import traceback
from dataclasses import replace
from typing import Final

from engine.detectors.guard import reason_of
from engine.model.commands import Open
from engine.model.messages import Block
from engine.runtime.host import Host, away_s
from engine.runtime.lost_audio import LostAudio
from engine.session.checkpoint import Checkpoint
from engine.sources.base import EndOfTake, Source, SourceError, SourceInfo

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
        away_for_s = None if checkpoint is None else away_s(checkpoint, host)
        self.source: Source | None
        self.info: SourceInfo
        if checkpoint is not None and info is not None and info.live:
            self.source, self.info = None, info
        else:
            self.source = self._open(checkpoint, away_for_s or 0.0)
            self.info = self.source.info
        self.losses = LostAudio(self.info, request.speed, host, away_for_s)
        self.ended = False
        """The take was read to its end, or can't be read any further."""
        self._read_at = host.clock()
        self._empty_since: float | None = None
        self._tried_at = self._read_at - SLOWEST_RETRY_S

    def _open(self, checkpoint: Checkpoint | None, away_s: float) -> Source:
        source = self._host.open_source(self._request)
        if checkpoint is None:
            return source
        source.close()
        info, request = source.info, self._request
        if info.frames is None:  # still growing: what came meanwhile is there to be looked at
            begin_s = request.start_s + checkpoint.fed_s
            return self._host.open_source(replace(request, start_s=begin_s))
        length_s = info.frames / info.sample_rate_hz - request.start_s
        played_s = checkpoint.fed_s + away_s * request.speed
        played_s = played_s % length_s if request.loop else min(played_s, length_s - 0.01)
        return self._host.open_source(replace(request, start_s=request.start_s + played_s))

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
        self.losses.look_at_sleep()
        if self.source is None:
            self._try_again()
            return None
        begin_at = self._host.clock()
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
        stood_still = max(begin_at - self._read_at, now - begin_at) > STOOD_STILL_S
        if block is not None:
            self._empty_since = None
        elif self._empty_since is None or stood_still:
            self._empty_since = now
        self._read_at = now
        return block

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
        self.losses.reason = reason
        if self.losses.lost_since is None:
            self.losses.lost_since = self.losses.last_audio_at
        self._tried_at = self._host.clock()

    def _try_again(self) -> None:
        """An input that went away is looked for by name, not by number."""
        self._host.sleep(READ_S)
        now = self._host.clock()
        lost_s = now - (now if self.losses.lost_since is None else self.losses.lost_since)
        if now - self._tried_at < min(RETRY_S + RETRY_GROWTH * lost_s, SLOWEST_RETRY_S):
            return
        try:
            self.source = self._host.open_again(self.info)
        except SourceError as error:
            self.losses.reason = str(error)
        except Exception as error:
            traceback.print_exc()
            self.losses.reason = f"{self.info.name} can't be opened: {reason_of(error)}"
        else:
            self._empty_since = None
        self._tried_at = self._host.clock()

    # ---- a stalled input ---------------------------------------------------------------------

    def stalls(self, now: float, tick_s: float) -> bool:
        """Nothing came: whether the alarms are to go on by the clock, once each `tick_s`."""
        if (self._opening or self._ending) and not self.losses.reason:
            return False
        silent_since = max(
            self.losses.last_audio_at, self._empty_since or self.losses.last_audio_at
        )
        if self.losses.reason == "" and now - silent_since >= STALL_S:
            first = "its recorder, then the disk" if self.info.growing else _FIRST
            self.losses.reason = f"{self.info.name} delivers nothing: {first}"
            if self.losses.lost_since is None:
                self.losses.lost_since = self.losses.last_audio_at
        if not self.losses.reason or now - self.losses.declared_until < tick_s:
            return False
        self.losses.declared_until = now
        return True

    @property
    def _opening(self) -> bool:
        """The input is about to open, which takes a driver its time."""
        return bool(getattr(self.source, "opening", False))

    @property
    def _ending(self) -> bool:
        """A take that grew may just be over, which shows only after a while."""
        return bool(getattr(self.source, "ending", False))

    def reopen_if_stuck(self, now: float) -> None:
        """Close an input that delivers nothing, so that it is opened anew."""
        if self._opening:
            self._tried_at = now
        waited_s = now - max(self.losses.last_audio_at, self._tried_at)
        if self.source is None or not self.info.live:
            return
        if self.losses.reason and waited_s >= STALL_S + REOPEN_S:
            self.let_go(self.losses.reason)
