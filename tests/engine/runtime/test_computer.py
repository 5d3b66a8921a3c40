"""What is told of the computer itself, by readings that the test makes up."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from engine.runtime.computer import LATE_S, LEAST_BYTES_PER_S, ROOM_S, Computer


@dataclass
class System:
    """A computer's sensors."""

    battery: Any = None
    busy: float = 10.0
    heat: dict[str, list[Any]] = field(default_factory=dict)

    def sensors_battery(self) -> Any:
        """None where there is none."""
        return self.battery

    def cpu_percent(self) -> float:
        """Of all processors."""
        return self.busy

    def sensors_temperatures(self) -> dict[str, list[Any]]:
        """By chip."""
        return self.heat


Made = Callable[..., Computer]


@pytest.fixture
def made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Made:
    """A computer with room on its disk."""
    monkeypatch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=1e12))

    def make(system: Any, waiting_s: float = 0.0, now: float = 0.0) -> Computer:
        log = tmp_path / "session.sqlite"
        return Computer(log, lambda: waiting_s, lambda: now, system)

    return make


def test_a_computer_in_good_order_says_nothing(made: Made) -> None:
    """On mains, cool, idle, with room."""
    computer = made(System(SimpleNamespace(percent=90.0, secsleft=-2, power_plugged=True)))
    computer.look()
    assert computer.problems == ()


@pytest.mark.parametrize(("secsleft", "left"), [(4800, "(62 % left, 1 h 20 min"), (-1, "(62 %")])
def test_a_battery_is_told_with_how_long_it_lasts(made: Made, secsleft: int, left: str) -> None:
    """Where the system knows that; its share in any case."""
    computer = made(System(SimpleNamespace(percent=62.0, secsleft=secsleft, power_plugged=False)))
    computer.look()
    (line,) = computer.problems
    assert line.startswith("runs on its battery (62 %")
    assert ("1 h 20 min" in line) == (secsleft > 0)
    assert left[:5] in line


def test_a_disk_with_room_for_under_an_hour_is_told(made: Made, monkeypatch) -> None:
    """One second under the hour is told, the hour itself is not."""
    for room_s, count in ((ROOM_S, 0), (ROOM_S - 1.0, 1)):
        free = room_s * LEAST_BYTES_PER_S
        monkeypatch.setattr(shutil, "disk_usage", lambda _, free=free: SimpleNamespace(free=free))
        computer = made(System())
        computer.look()
        assert len([p for p in computer.problems if "room for" in p]) == count


def test_load_is_told_only_where_audio_waits(made: Made) -> None:
    """A busy processor alone is nobody's concern."""
    for busy, waiting_s, told in ((99.0, 0.0, 0), (20.0, LATE_S, 0), (99.0, LATE_S, 1)):
        computer = made(System(busy=busy), waiting_s)
        computer.look()
        assert len(computer.problems) == told


def test_heat_is_told_near_the_makers_limit(made: Made) -> None:
    """By each part's own limit; a sensor without one says nothing."""
    cool = SimpleNamespace(current=60.0, high=90.0, critical=100.0)
    hot = SimpleNamespace(current=88.0, high=90.0, critical=100.0)
    odd = SimpleNamespace(current=200.0, high=None, critical=None)
    for sensors, told in (([cool, odd], 0), ([cool, hot], 1)):
        computer = made(System(heat={"cpu": sensors}))
        computer.look()
        assert len(computer.problems) == told


@pytest.mark.parametrize(("current", "problems"), [(45.0, 0), (99.0, 0), (101.0, 1)])
def test_a_limit_in_thousandths_is_read_as_meant(made: Made, current: float, problems: int) -> None:
    """What psutil 7.2 makes of a thermal zone with two trip points, one critical at 105 degrees."""
    zone = SimpleNamespace(current=current, high=None, critical=0.105)
    computer = made(System(heat={"x86_pkg_temp": [zone]}))
    computer.look()
    assert len(computer.problems) == problems


def test_a_limit_that_no_part_has_is_none(made: Made) -> None:
    """Some chips give -273 or 20 degrees as theirs."""
    odd = [SimpleNamespace(current=45.0, high=high, critical=None) for high in (-273.1, 20.0)]
    computer = made(System(heat={"chip": odd}))
    computer.look()
    assert computer.problems == ()


def test_a_system_without_sensors_is_no_error(made: Made) -> None:
    """Nothing that can't be read is told, and nothing is raised."""
    computer = made(object())
    computer.look()
    computer.keep_awake()
    computer.look()
    assert computer.problems == ()


def test_a_laptop_that_may_fall_asleep_is_told(made: Made, monkeypatch) -> None:
    """Only where there is a battery: a computer without one is seldom set to sleep."""
    import wakepy

    def refused(**_: object) -> None:
        raise RuntimeError("no way")

    monkeypatch.setattr(wakepy.keep, "running", refused)
    plugged = SimpleNamespace(percent=90.0, secsleft=-2, power_plugged=True)
    for battery, told in ((None, 0), (plugged, 1)):
        computer = made(System(battery))
        computer.keep_awake()
        computer.look()
        assert len(computer.problems) == told
