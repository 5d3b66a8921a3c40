"""All carts of a site, put together from their messages. Pure; receipt times are passed in.

No clock of a cart is compared with another's: ages are of each cart's own stream, and whether a
cart is alive is judged by when its messages came here. Messages of one run are ordered by `seq`;
alarms count only for the run that is alive, so that what an earlier one left behind says nothing.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from app.fleet.cart_messages import SCHEMA
from engine.model.safe_text import harmless

SILENT_S: Final = 5.0
SILENT: Final = "silent"
FORGOTTEN_S: Final = 20.0
"""A run that fell silent while another one of its name goes on."""
LARGEST: Final = 256 * 1024
MOST_RUNS: Final = 500
MOST_ALARMS: Final = 2000
"""Of one run."""


@dataclass(slots=True)
class _Run:
    heard_at: float
    seq: int = 0
    state: Mapping[str, Any] = field(default_factory=dict)
    alarms: dict[str, tuple[int, Mapping[str, Any] | None]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Cart:
    """One cart as it stands now.

    problem : why it is red by itself, empty where it is not
    quiet_s : how long ago it was heard
    """

    name: str
    run: str
    title: str
    timecode: str
    problem: str
    quiet_s: float
    rolling: bool
    on_break: bool
    live: bool
    drill: bool
    tracks: int
    red: int
    amber: int
    uncovered: int


@dataclass(frozen=True, slots=True)
class FleetAlarm:
    """One alarm of one cart; `key` is the same as long as the alarm is."""

    key: str
    cart: str
    numbers: str
    name: str
    fault: str
    red: bool
    uncovered: bool
    seen: bool
    age_s: float
    where: str
    check: str
    attended: str


class AllCarts:
    """Takes in messages; says how all carts stand."""

    def __init__(self, site: str) -> None:
        self._site = site
        self._runs: dict[tuple[str, str], _Run] = {}

    def receive(self, topic: str, payload: bytes, now: float, retained: bool = False) -> None:
        """One message. What is not understood changes nothing."""
        parts = topic.split("/")
        if len(parts) < 3 or parts[0] != self._site or len(payload) > LARGEST:
            return
        cart, kind = parts[1], parts[2]
        if kind == "alarm" and len(parts) == 4 and not payload:
            owner, _, name = parts[3].partition("-")
            known = self._runs.get((cart, owner))
            if known is not None and name in known.alarms:
                known.alarms[name] = (known.alarms[name][0], None)
            return
        said = _read(payload)
        if said is None:
            return
        run = self._run(cart, str(said["run"]), now)
        if kind == "state":
            self._take_state(run, said, now, retained)
        elif kind == "alarm" and len(parts) == 4:
            name = parts[3].partition("-")[2]
            last = run.alarms.get(name, (0, None))[0]
            if said["seq"] > last and _has_room(run, name):
                run.alarms[name] = (said["seq"], said)

    def _run(self, cart: str, run: str, now: float) -> _Run:
        key = (cart, run)
        if key not in self._runs:
            if len(self._runs) >= MOST_RUNS:
                del self._runs[min(self._runs, key=lambda k: self._runs[k].heard_at)]
            self._runs[key] = _Run(now)
        return self._runs[key]

    def _take_state(self, run: _Run, said: Mapping[str, Any], now: float, retained: bool) -> None:
        if said.get("alive") is not True:  # a last will has no number of its own
            run.state = {**run.state, **said}
            return
        if said["seq"] <= run.seq:
            return
        run.seq, run.state = said["seq"], said
        if not retained:
            run.heard_at = now

    def _alive(self, now: float) -> list[tuple[str, str, _Run, str]]:
        """Carts to show, with what is wrong with each itself."""
        made: list[tuple[str, str, _Run, str]] = []
        by_name: dict[str, list[tuple[str, _Run]]] = {}
        for (cart, name), run in self._runs.items():
            if run.state:
                by_name.setdefault(cart, []).append((name, run))
        for cart, runs in by_name.items():
            speaking = [(n, r) for n, r in runs if self._speaks(r, now)]
            shown = speaking or [max(runs, key=lambda pair: pair[1].heard_at)]
            for name, run in shown:
                problem = _problem(run, now, len(speaking))
                made.append((cart, name, run, problem))
        return made

    def _speaks(self, run: _Run, now: float) -> bool:
        return bool(run.state.get("alive")) and now - run.heard_at <= SILENT_S

    def carts(self, now: float) -> list[Cart]:
        """Worst first: gone or silent, then no cover, then by the number of reds and ambers."""
        made = [_cart(*one, now) for one in self._alive(now)]
        return sorted(
            made, key=lambda c: (not c.problem, -c.uncovered, -c.red, -c.amber, c.name, c.run)
        )

    def alarms(self, now: float) -> list[FleetAlarm]:
        """All that is wrong, across carts: no cover, red, amber, seen, and the longest first."""
        made = [
            _alarm(f"{cart}/{run_name}/{name}", cart, said, run.state, now - run.heard_at)
            for cart, run_name, run, _ in self._alive(now)
            for name, said in _standing(run)
            if run.state.get("alive")
        ]
        return sorted(
            made, key=lambda a: (not a.uncovered, not a.red, a.seen, -a.age_s, a.cart, a.numbers)
        )


def _has_room(run: _Run, name: str) -> bool:
    """Make room for one more alarm by forgetting one that is over."""
    if name in run.alarms or len(run.alarms) < MOST_ALARMS:
        return True
    over = next((known for known, (_, said) in run.alarms.items() if said is None), None)
    if over is not None:
        del run.alarms[over]
    return over is not None


def _standing(run: _Run) -> list[tuple[str, Mapping[str, Any]]]:
    """Alarms that are shown now: those that the state names, and those that came after it.

    What was taken away while there was no broker has no message of its own.
    """
    named = run.state.get("alarms")
    names = set(map(str, named)) if isinstance(named, list) else None
    return [
        (name, said)
        for name, (seq, said) in run.alarms.items()
        if said is not None and (names is None or name in names or seq > run.seq)
    ]


def _problem(run: _Run, now: float, speaking: int) -> str:
    if not run.state.get("alive"):
        return "watch gone"
    if now - run.heard_at > SILENT_S:
        return SILENT
    if run.state.get("condition") == "silent":
        return "no news from its watch"
    return "two carts have this name" if speaking > 1 else ""


def _read(payload: bytes) -> Mapping[str, Any] | None:
    """A message of ours; None where it is anything else."""
    try:
        said = json.loads(payload)
    except (ValueError, RecursionError):
        return None
    if not isinstance(said, dict) or said.get("schema") != SCHEMA:
        return None
    whole = isinstance(said.get("run"), str) and type(said.get("seq")) is int
    return said if whole else None


def _text(said: Mapping[str, Any], key: str) -> str:
    value = said.get(key)
    return harmless(value)[:300] if isinstance(value, str) else ""


def _number(said: Mapping[str, Any], key: str) -> float:
    value = said.get(key)
    return value if isinstance(value, int | float) and abs(value) < 1e12 else 0.0


def _cart(name: str, run_name: str, run: _Run, problem: str, now: float) -> Cart:
    standing = [said for _, said in _standing(run)]
    return Cart(
        name=harmless(name),
        run=run_name,
        title=_text(run.state, "title"),
        timecode=_text(run.state, "timecode"),
        problem=problem,
        quiet_s=max(0.0, now - run.heard_at),
        rolling=run.state.get("rolling") is not False,
        on_break=run.state.get("break") is True,
        live=run.state.get("live") is not False,
        drill=run.state.get("drill") is True,
        tracks=int(_number(run.state, "tracks")),
        red=sum(said.get("severity") == "red" for said in standing),
        amber=sum(said.get("severity") == "amber" for said in standing),
        uncovered=sum(said.get("uncovered") is True for said in standing),
    )


def _alarm(
    key: str, cart: str, said: Mapping[str, Any], state: Mapping[str, Any], silent_s: float
) -> FleetAlarm:
    age_s = 0.0
    if said.get("since_s") is not None:
        age_s = max(0.0, _number(state, "now_s") - _number(said, "since_s") + silent_s)
    return FleetAlarm(
        key=key,
        cart=harmless(cart),
        numbers=_text(said, "numbers"),
        name=_text(said, "name"),
        fault=_text(said, "fault"),
        red=said.get("severity") == "red",
        uncovered=said.get("uncovered") is True,
        seen=said.get("seen") is True,
        age_s=age_s,
        where=_text(said, "where"),
        check=_text(said, "check"),
        attended=_text(said, "attended"),
    )
