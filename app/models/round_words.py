"""A round in words: what plays, how long still, what comes. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence

from app.style import wording
from engine.model.round_state import Heard, RoundState
from engine.model.tracks import Plan


def title(state: RoundState, plan: Plan) -> str:
    """'7 Boom deck · rigger': what plays now; empty while no round runs."""
    track = next((t for t in plan.tracks if t.input == state.track), None)
    if track is None:
        return ""
    who = f" · {track.who}" if track.who and track.who not in track.label else ""
    return f"{track.input}  {wording.isolate(track.label)}{who}"


def left(state: RoundState) -> str:
    """'5 s', 'staying', or that it waits for the end of what is said."""
    if not state.on:
        return ""
    if state.staying:
        return "staying"
    return f"{math.ceil(state.left_s)} s" if state.left_s > 0.0 else "till they pause"


def due(state: RoundState) -> str:
    """'4 more: 9, 3, 5 …'."""
    if not state.due:
        return "last of this round" if state.on else ""
    first = ", ".join(str(n) for n in state.due[:3])
    more = " …" if len(state.due) > 3 else ""
    return f"{len(state.due)} more: {first}{more}"


def heard(listened: Sequence[Heard], track: int, now_s: float) -> str:
    """'heard 12 min ago', and what was said of it; empty where nobody listened."""
    one = next((h for h in listened if h.track == track), None)
    if one is None:
        return ""
    ago = wording.hours(now_s - one.at_s)
    doubt = f"doubt: {one.word}" if one.word else "doubt"
    return f"heard {ago} ago" + (f" · {doubt}" if one.right is False else "")
