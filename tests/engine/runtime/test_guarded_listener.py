"""Headphones that raise at any time cost the watch nothing but themselves, for a moment."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.listen.output import Listener
from engine.listen.ring import Ring
from engine.model.commands import Listen, ListenLevel
from engine.model.tracks import plan_for
from engine.runtime.guarded_listener import GuardedListener
from tests.support.strategies import untimed

RATE = 8_000
SOUND = np.zeros((800, 2), dtype=np.float32)


def no_output(name: str, rate_hz: int):
    """There is none here."""
    raise OSError("no output")


def test_an_output_that_cannot_be_opened_says_why_nothing_is_heard() -> None:
    """Nothing before the crew asks for a track; then what the output said."""
    headphones = GuardedListener(plan_for(["", ""]), RATE, no_output, 0)
    headphones.put(SOUND, 800)
    assert headphones.why_silent() == ""
    headphones.ask(Listen(1))
    headphones.close()  # waits for its thread
    assert headphones.why_silent() == "no output"


@untimed
@given(
    call=st.sampled_from(["put", "ask", "change", "state"]),
    error=st.sampled_from([MemoryError(), ValueError("x"), IndexError()]),
    which=st.integers(0, 5),
)
def test_whatever_raises_is_told_and_made_anew(call: str, error: Exception, which: int) -> None:
    """One call raises once: a line says so, and the next calls work again."""
    calls = []

    def broken(listener: Listener, *arguments: object) -> object:
        calls.append(arguments)
        if len(calls) == which + 1:
            raise error
        return real(listener, *arguments)

    real = getattr(Listener, call)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Listener, call, broken)
        plan = plan_for(["", ""])
        headphones = GuardedListener(plan, RATE, no_output, 0)
        for n in range(1, 8):
            headphones.put(SOUND, n * 800)
            headphones.change(plan)
            headphones.state()
            if call == "ask":
                headphones.ask(ListenLevel(-20.0, -10.0))
        if call != "ask":
            assert headphones.problem.startswith("headphones began anew: ")
        assert headphones.state() is not None
        headphones.ask(ListenLevel(-20.0, -10.0))
        assert headphones.problem == ""
        headphones.close()


def test_a_watch_begins_without_memory_for_headphones(monkeypatch: pytest.MonkeyPatch) -> None:
    """No room for the last minutes of sound: the watch is whole, the headphones are not there."""
    with monkeypatch.context() as patch:
        patch.setattr(Ring, "__init__", lambda *_: (_ for _ in ()).throw(MemoryError()))
        headphones = GuardedListener(plan_for([""]), RATE, no_output, 0)
        headphones.put(SOUND, 800)
        assert headphones.state() is None
        assert "MemoryError" in headphones.problem
    headphones.ask(ListenLevel(-20.0, -10.0))
    assert headphones.state() is not None
    headphones.close()
