"""The headphones' thread: commands in, sound out on a fake output; the watch never waits for it.

No trade fact: checked against the samples put in.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator

import numpy as np
import pytest

from engine.listen import output as output_module
from engine.listen.output import Listener
from engine.listen.ring import Ring
from engine.model.commands import Listen, ListenDevice, ListenLevel, StopListening, SwitchPack
from engine.model.listening import FIRST_LEVEL_DB, LIMIT_DB
from tests.support.signals import sine

RATE = 8_000
WAIT_S = 5.0


class FakeOutput:
    """Takes sound a block at a time, as fast as the test lets it."""

    def __init__(self, name: str, rate_hz: int) -> None:
        self.name, self.rate_hz = name, rate_hz
        self.heard: list[np.ndarray] = []
        self.closed = False
        self.broken = ""
        self.room = threading.Semaphore(0)

    def write(self, sound: np.ndarray) -> None:
        """Keep it, once there is room."""
        assert self.room.acquire(timeout=WAIT_S)
        if self.broken:
            raise OSError(self.broken)
        self.heard.append(sound)

    def close(self) -> None:
        """Note it."""
        self.closed = True


class Desk:
    """A listener on two packs with a minute of sound, and the outputs it opened."""

    def __init__(self, failure: str = "") -> None:
        self.outputs: list[FakeOutput] = []
        self.failure = failure
        ring = Ring((1, 2), RATE)
        loud, soft = sine(-20.0, 20.0, RATE, 440.0), sine(-32.0, 20.0, RATE, 440.0)
        ring.put(np.concatenate([loud, soft], axis=1), 20 * RATE)
        self.listener = Listener(ring, {1: 2, 2: 1}.get, self.open)

    def open(self, name: str, rate_hz: int) -> FakeOutput:
        """A fresh output."""
        if self.failure:
            raise OSError(self.failure)
        self.outputs.append(FakeOutput(name, rate_hz))
        return self.outputs[-1]

    def until(self, holds: Callable[[], bool]) -> None:
        """Let the output play until that holds."""
        end = time.monotonic() + WAIT_S
        while not holds():
            assert time.monotonic() < end
            for output in self.outputs:
                output.room.release()
            time.sleep(0.001)


@pytest.fixture
def desk() -> Iterator[Desk]:
    """Closed after the test."""
    made = Desk()
    yield made
    for output in made.outputs:
        output.room.release(10)
    made.listener.close()


def test_nothing_is_opened_until_somebody_listens(desk: Desk) -> None:
    """No output is touched by itself, nor by a level or a device being chosen."""
    desk.listener.ask(ListenLevel(-20.0, LIMIT_DB))
    desk.listener.ask(ListenDevice("Headphones"))
    desk.listener.ask(StopListening())
    desk.until(lambda: desk.listener._asked.empty())
    assert desk.outputs == []
    assert desk.listener.state().track is None


def test_a_listening_from_asking_to_stop(desk: Desk) -> None:
    """It plays the track from where it was asked, low; after the stop the output is let go of."""
    desk.listener.ask(ListenDevice("Headphones"))
    desk.listener.ask(Listen(1, 6.0))
    desk.until(lambda: bool(desk.outputs) and len(desk.outputs[0].heard) > 50)
    state = desk.listener.state()
    assert desk.outputs[0].name == "Headphones"
    assert (state.track, state.live, state.level_db) == (1, False, FIRST_LEVEL_DB)
    assert state.at_s == pytest.approx(6.0 + 0.02 * len(desk.outputs[0].heard), abs=0.05)
    assert np.abs(desk.outputs[0].heard[-1]).max() == pytest.approx(10 ** (-50 / 20), rel=0.05)
    desk.listener.ask(StopListening())
    desk.until(lambda: desk.outputs[0].closed)
    assert desk.listener.state().track is None


def test_the_other_pack_and_a_raised_level(desk: Desk) -> None:
    """X goes to the mate at its loudness; a level over the limit stays at the limit."""
    desk.listener.ask(Listen(1, 10.0))
    desk.listener.ask(SwitchPack())
    desk.until(lambda: desk.listener.state().track == 2)
    assert desk.listener.state().matched_db == pytest.approx(12.0, abs=0.2)
    desk.listener.ask(ListenLevel(0.0, LIMIT_DB))
    desk.until(lambda: desk.listener.state().level_db == LIMIT_DB)
    desk.listener.ask(ListenLevel(0.0, 0.0))
    desk.until(lambda: desk.listener.state().level_db == 0.0)


def test_every_listening_begins_low_again(desk: Desk) -> None:
    """A level raised yesterday hurts nobody today: a new listening begins at the low level."""
    desk.listener.ask(Listen(1, 3.0))
    desk.listener.ask(ListenLevel(-15.0, LIMIT_DB))
    desk.until(lambda: desk.listener.state().level_db == -15.0)
    desk.listener.ask(StopListening())
    desk.until(lambda: desk.listener.state().track is None)
    desk.listener.ask(Listen(1, 3.0))
    desk.until(lambda: desk.listener.state().track == 1)
    assert desk.listener.state().level_db == FIRST_LEVEL_DB


def test_another_device_takes_over_where_the_first_was(desk: Desk) -> None:
    """Choosing another output closes the first and goes on there, low and soft."""
    desk.listener.ask(Listen(1, 3.0))
    desk.until(lambda: bool(desk.outputs) and len(desk.outputs[0].heard) > 20)
    desk.listener.ask(ListenDevice("Other"))
    desk.until(lambda: len(desk.outputs) == 2 and len(desk.outputs[1].heard) > 3)
    assert desk.outputs[0].closed
    assert desk.listener.state().at_s > 3.3
    assert np.abs(desk.outputs[1].heard[0]).max() < 1e-4


@pytest.mark.parametrize("when", ["opening", "playing"])
def test_a_device_that_fails_is_said_in_one_line(when: str) -> None:
    """An output that is missing or breaks off ends the listening with a reason; the next works."""
    desk = Desk("no such\n  output" if when == "opening" else "")
    desk.listener.ask(Listen(1, 3.0))
    if when == "playing":
        desk.until(lambda: bool(desk.outputs) and len(desk.outputs[0].heard) > 2)
        desk.outputs[0].broken = "no such output"
    desk.until(lambda: bool(desk.listener.state().problem))
    assert desk.listener.state().problem == "no such output"
    assert desk.listener.state().track is None
    desk.failure = ""
    desk.listener.ask(Listen(2, 3.0))
    desk.until(lambda: desk.listener.state().track == 2)
    assert desk.listener.state().problem == ""
    desk.outputs[-1].room.release(10)
    desk.listener.close()


def test_an_output_that_hangs_holds_up_nobody(desk: Desk) -> None:
    """While an output takes nothing, commands, state and new audio still return at once."""
    desk.listener.ask(Listen(1))
    begun = time.monotonic()
    while not desk.outputs:
        assert time.monotonic() - begun < WAIT_S
    begun = time.monotonic()
    for n in range(20):
        desk.listener.put(sine(-20.0, 0.1, RATE).repeat(2, axis=1), 20 * RATE + n * RATE // 10)
        desk.listener.ask(ListenLevel(-20.0, LIMIT_DB))
        desk.listener.state()
    assert time.monotonic() - begun < 0.5


def test_a_track_that_the_plan_lacks_is_refused(desk: Desk) -> None:
    """An input that is not kept can't be heard, and that is said."""
    desk.listener.ask(Listen(7))
    desk.until(lambda: bool(desk.listener.state().problem))
    assert desk.listener.state().problem == "input 7 is not in the plan"
    assert desk.outputs == []


def test_a_change_of_plan_keeps_the_sound(desk: Desk) -> None:
    """A track that stays is heard on without a break; one that leaves the plan fades out."""
    desk.listener.ask(Listen(1, 3.0))
    desk.until(lambda: bool(desk.outputs) and len(desk.outputs[0].heard) > 20)
    desk.listener.change((1, 3), {}.get)
    desk.until(lambda: desk.listener._asked.empty())
    before = len(desk.outputs[0].heard)
    desk.until(lambda: len(desk.outputs[0].heard) > before + 10)
    assert np.abs(desk.outputs[0].heard[-1]).max() > 1e-3
    desk.listener.change((3,), {}.get)
    desk.until(lambda: desk.outputs[0].closed)


def test_what_raises_in_the_mix_ends_no_thread(desk: Desk, monkeypatch) -> None:
    """No memory for it, say: told in one line, and the next listening sounds."""
    with monkeypatch.context() as broken:
        broken.setattr(output_module, "Mix", lambda *_: 1 / 0)
        desk.listener.ask(Listen(1, 6.0))
        desk.until(lambda: "division" in desk.listener.state().problem)
    desk.listener.ask(Listen(1, 6.0))
    desk.until(lambda: bool(desk.outputs) and len(desk.outputs[-1].heard) > 5)
    assert desk.listener.state().problem == ""
