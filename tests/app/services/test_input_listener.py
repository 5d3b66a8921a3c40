"""Listening to the inputs of the start page."""

from __future__ import annotations

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from app.services.input_listener import BUSY, MOST, InputLights
from engine.sources.base import SourceError
from tests.support.qt.pages import FakeInput


class Peaks:
    """An input of no real machine; `problem` is why it fails."""

    def __init__(self, channels: int, problem: str = "") -> None:
        self.channels, self.problem, self.closed = channels, problem, False

    def read(self) -> np.ndarray:
        """Sound on the first channel."""
        if self.problem:
            raise SourceError(self.problem)
        return np.where(np.arange(self.channels) == 0, -20.0, -200.0)

    def close(self) -> None:
        """Note it."""
        self.closed = True


@pytest.fixture
def lights(qtbot: QtBot):
    """Lights on made inputs; the second one is in use."""
    made: dict[int, Peaks] = {}

    def listen(one: FakeInput) -> Peaks:
        made[one.index] = Peaks(one.channels, "in use" if one.index == 1 else "")
        return made[one.index]

    service = InputLights()
    service.listen = listen
    shown: dict[int, str] = {}
    service.changed.connect(lambda index, said: shown.__setitem__(index, said.words))
    yield service, made, shown
    service.stop()


def test_each_input_shows_what_arrives(lights) -> None:
    """A count for each, and for one in use that it can't be opened."""
    service, made, shown = lights
    service.start([FakeInput(0, "Field interface", 16), FakeInput(1, "Camera", 2)])
    assert shown == {0: "listening…", 1: "listening…"}
    service.poll()
    assert shown == {0: "1 of 16 carry a signal", 1: BUSY}
    assert made[1].closed


def test_a_watch_finds_them_free(lights) -> None:
    """All are let go of at once, and nothing is asked of them any more."""
    service, made, shown = lights
    service.start([FakeInput(0, "Field interface", 16)])
    service.stop()
    assert made[0].closed
    shown.clear()
    service.poll()
    assert not shown


def test_not_every_input_of_a_large_machine_is_opened(lights) -> None:
    """The first few; each takes a process."""
    service, made, _ = lights
    service.start([FakeInput(n, f"Input {n}", 2) for n in range(20, 40)])
    assert len(made) == MOST
