"""Which stretches of a session have a take, and which have none."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from engine.session.reader import SessionReader

Span = tuple[float, float]
"""Begin and end, session time, s."""

SHORTEST_S: Final = 2.0
"""Less may lie between pressing record and the first sample; ours."""


def rolling_spans(log: SessionReader) -> tuple[Span, ...]:
    """When an engine watched and nobody had said that it is not rolling."""
    end_s = log.watched_s()
    runs = log.runs()
    spans: list[Span] = []
    for n, run in enumerate(runs):
        following_s = runs[n + 1].at_s if n + 1 < len(runs) else end_s
        stop_s = run.end_s
        if stop_s is None:
            stop_s = min(log.levels_until(int(following_s) + 1) or following_s, following_s)
        spans.append((run.at_s, stop_s))
    for command in ("Standby", "Break"):
        spans = list(without(spans, _held(log, command, end_s)))
    return tuple(spans)


def _held(log: SessionReader, command: str, end_s: float) -> list[Span]:
    since_s: float | None = None
    spans = []
    for action in log.actions(command):
        if action.arguments["on"] and since_s is None:
            since_s = action.at_s
        elif not action.arguments["on"] and since_s is not None:
            spans.append((since_s, action.at_s))
            since_s = None
    if since_s is not None:
        spans.append((since_s, end_s))
    return spans


def without(spans: Sequence[Span], taken: Iterable[Span]) -> tuple[Span, ...]:
    """What of the spans is left when others are taken out of them."""
    left = list(spans)
    for begin_s, end_s in taken:
        pieces = [
            piece
            for a, b in left
            for piece in ((a, min(b, begin_s)), (max(a, end_s), b))
            if piece[1] > piece[0]
        ]
        left = list(dict.fromkeys(pieces))
    return tuple(left)


def not_taken(rolling: Sequence[Span], takes: Iterable[Span]) -> tuple[Span, ...]:
    """Stretches of the session that no take has."""
    return tuple(
        (begin_s, end_s)
        for begin_s, end_s in without(rolling, takes)
        if end_s - begin_s >= SHORTEST_S
    )
