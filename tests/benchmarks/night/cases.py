"""What a case is, and the table of all cases."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np

from tests.benchmarks.night.scenes import Take

Evidence = Literal["sound", "speech", "plan", "mark"]
"""What makes a truth due: a sound added, lost or bent; speech on the tracks; the plan alone; or a
mark, which is no alarm."""


@dataclass(frozen=True, slots=True)
class Span:
    """What a model did to a take: to these inputs (from 0), from when to when, in seconds.

    `audible` are those of the inputs by which it is judged whether a listener hears it.
    """

    tracks: tuple[int, ...]
    onset_s: float
    end_s: float
    audible: tuple[int, ...] = ()


Model = Callable[[Take, np.random.Generator], Span]


@dataclass(frozen=True, slots=True)
class Case:
    """One thing that happens on a night.

    Attributes
    ----------
    words
        Fault words that fit; none: harmless, nothing may alarm.
    amber_s, red_s
        Deadlines after the truth is due, in seconds (of speech, where `evidence` says so);
        `red_s` is None where red is not asked for.
    beside
        Other words that may come too, because they are true as well.
    after_rig
        The recorder or its computer does it, so that no chain follows.
    over_background_db
        How far over the background a sound has to stand, half of a second long, to be due; None:
        the common rule.
    one_alarm
        Several tracks share the cause: one incident with `tracks`, or `part_of`, has to say so.
    chains
        The chains that may follow; empty: any.
    weight
        How often in healthy hours, beside the other harmless ones.
    from_start
        It shapes the take from its start, so nothing may come before it.
    family
        Of those of one family a short run takes one a seed, in turn.
    """

    name: str
    model: Model
    words: frozenset[str] = frozenset()
    amber_s: float = 0.0
    red_s: float | None = None
    evidence: Evidence = "sound"
    beside: frozenset[str] = frozenset()
    after_rig: bool = False
    one_alarm: bool = False
    chains: tuple[str, ...] = ()
    seconds: float = 52.0
    at_s: float = 22.0
    weight: float = 0.0
    from_start: bool = False
    family: str = ""
    over_background_db: float | None = None

    @property
    def harmless(self) -> bool:
        """Nothing may alarm."""
        return not self.words


CASES: Final[dict[str, Case]] = {}


def harmless(
    weight: float,
    at_s: float = 30.0,
    seconds: float = 72.0,
    beside: str = "",
    from_start: bool = False,
    family: str = "",
) -> Callable[[Model], Model]:
    """Enter a model as a harmless case under its function's name."""

    def enter(model: Model) -> Model:
        name = model.__name__
        CASES[name] = Case(
            name,
            model,
            beside=frozenset(beside.split()),
            seconds=seconds,
            at_s=at_s,
            weight=weight,
            from_start=from_start,
            family=family,
        )
        return model

    return enter


def harmful(
    name: str, words: str, amber_s: float, red_s: float | None = None, **more: Any
) -> Callable[[Model], Model]:
    """Enter a model as a harmful case; words are separated by spaces, `more` are Case's fields."""
    more["beside"] = frozenset(more.get("beside", "").split())

    def enter(model: Model) -> Model:
        CASES[name] = Case(name, model, frozenset(words.split()), amber_s, red_s, **more)
        return model

    return enter
