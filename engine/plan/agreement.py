"""Where a plan and what a take says of itself differ: which of the two holds, and what to say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from engine.model.messages import Kind
from engine.model.tracks import Plan, Track

_MOST_NAMES: Final = 6


def at_the_files_rate(plan: Plan, frame_rate: str | None) -> tuple[Plan, tuple[str, ...]]:
    """The plan at the rate that the file states, for its labels were made at that; and what to say.

    `frame_rate` is None where the file states none: then the plan's holds.
    """
    if frame_rate is None or frame_rate == plan.frame_rate:
        return plan, ()
    lines: tuple[str, ...] = ()
    if plan.stated_rate:
        text = (
            f"the plan says {plan.stated_rate} frames a second, the file {frame_rate}: "
            f"labels count by the file's {frame_rate}"
        )
        lines = (text,)
    return replace(plan, frame_rate=frame_rate), lines


def names_apart(plan: Plan, channel_names: Sequence[str]) -> tuple[str, ...]:
    """One line where tracks have other names in the plan than in the file; both stay as they are.

    `channel_names` has one for each channel of the file, "" where it names none.
    """
    apart = [
        f"{track.input} “{track.name}” is “{name}”"
        for track in plan.tracks
        for name in channel_names[track.input - 1 : track.input]
        if name and track.name and _letters(name) != _letters(track.name)
    ]
    if not apart:
        return ()
    more = f" and {len(apart) - _MOST_NAMES} more" if len(apart) > _MOST_NAMES else ""
    listed = ", ".join(apart[:_MOST_NAMES])
    return (f"the plan's names are not the file's: in the file {listed}{more}",)


def _letters(name: str) -> str:
    return "".join(letter for letter in name.casefold() if letter.isalnum())


def with_code(plan: Plan, inputs: Sequence[int]) -> tuple[Plan, tuple[str, ...]]:
    """The plan with those inputs, which carry timecode, as code that nothing is alarmed of.

    Also a line for each of them; none for those that are planned as timecode.
    """
    tracks, lines = [], []
    for track in plan.tracks:
        if track.input in inputs and track.kind is not Kind.TIMECODE:
            planned = f"planned as {track.kind.value}"
            lines.append(
                f"track {track.input} “{track.label}” carries timecode, {planned}: read as "
                'timecode and not alarmed; give it kind = "timecode"'
            )
            track = _as_code(track)
        tracks.append(track)
    return replace(plan, tracks=tuple(tracks)), tuple(lines)


def _as_code(track: Track) -> Track:
    return replace(
        track, kind=Kind.TIMECODE, who="", level=None, limits={"timecode": "off"}, kind_limits={}
    )
