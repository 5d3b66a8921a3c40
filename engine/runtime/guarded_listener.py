"""The headphones as the runner has them: whatever goes wrong there, the watch goes on."""

from __future__ import annotations

import traceback
from collections.abc import Callable
from typing import TypeVar

from engine.detectors.guard import reason_of
from engine.listen.output import Asked, Listener, OpenOutput
from engine.listen.ring import Ring
from engine.model.listening import Listening
from engine.model.messages import Samples
from engine.model.tracks import Plan

_Result = TypeVar("_Result")


class GuardedListener:
    """A listener that is made anew when it raises.

    Parameters
    ----------
    plan : Plan
    sample_rate_hz : int
    open_output : callable
    end_frame : int
        Stream time at which its memory of sound begins, in frames.
    """

    def __init__(
        self, plan: Plan, sample_rate_hz: int, open_output: OpenOutput, end_frame: int
    ) -> None:
        self._plan, self._rate_hz, self._open = plan, sample_rate_hz, open_output
        self._end_frame = end_frame
        self.problem = ""
        """Why the headphones began anew, one line; empty once the crew asks for them again."""
        self._listener = self._make()

    def _make(self) -> Listener | None:
        try:
            inputs = [track.input for track in self._plan.tracks]
            ring = Ring(inputs, self._rate_hz, self._end_frame)
            return Listener(ring, self._plan.other_pack, self._open)
        except Exception as error:  # no memory for the ring: a watch without headphones is one
            self._note(error)
            return None

    def ask(self, asked: Asked) -> None:
        """Pass on what the crew wants to hear."""
        self.problem = ""
        if self._listener is None:
            self._listener = self._make()
        self._try(lambda listener: listener.ask(asked))

    def put(self, samples: Samples, end_frame: int) -> None:
        """Take in sound that ends at that stream frame; see `Ring.put`."""
        self._end_frame = end_frame
        self._try(lambda listener: listener.put(samples, end_frame))

    def change(self, plan: Plan) -> None:
        """The plan has changed: other inputs, other pairs."""
        self._plan = plan
        inputs = [track.input for track in plan.tracks]
        self._try(lambda listener: listener.change(inputs, plan.other_pack))

    def state(self) -> Listening | None:
        """How it stands now; None where it can't be told."""
        return self._try(lambda listener: listener.state())

    def why_silent(self) -> str:
        """Why nothing is heard, one line; empty while all is well."""
        state = self.state()
        return self.problem or ("" if state is None else state.problem)

    def close(self) -> None:
        """Let go of the output."""
        self._try(lambda listener: listener.close())

    def _try(self, do: Callable[[Listener], _Result]) -> _Result | None:
        if self._listener is None:
            return None
        try:
            return do(self._listener)
        except Exception as error:
            self._note(error)
            broken, self._listener = self._listener, None
            try:
                broken.close(0.0)
            except Exception:
                traceback.print_exc()
            self._listener = self._make()
            return None

    def _note(self, error: Exception) -> None:
        traceback.print_exc()
        self.problem = f"headphones began anew: {reason_of(error)}"
