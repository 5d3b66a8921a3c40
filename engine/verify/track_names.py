"""Whether a take's tracks are named as planned: post sorts by these names."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Final

from engine.model.tracks import Track
from engine.verify.result import Difference, Finding

_NUMBER_ALONE: Final = re.compile(
    r"(?:tracks?|trk|tr|channel|chan|ch|inputs?|in|iso|mic|a)?[\s_.#-]*\d*", re.IGNORECASE
)
"""What recorders write where nobody named a track; common practice, no source."""


_TAKE_NAME: Final = re.compile(r".*[ _.-]")


def own_names(names: Sequence[str], tracks: Sequence[Track]) -> tuple[str, ...]:
    """The same without the take's name, which mono files that nobody named begin with alike.

    T01_1, T01_2 are numbers alone; T01_Foreman is the Foreman. What is planned as it stands stays.
    """
    planned = {_plain(track.name) for track in tracks}
    if len(names) < 2 or not all(names):
        return tuple(names)
    shortest, longest = min(names), max(names)
    alike = next((n for n in range(len(shortest)) if shortest[n] != longest[n]), len(shortest))
    head = _TAKE_NAME.match(shortest[:alike])
    begin = head.end() if head is not None else 0
    return tuple(name if _plain(name) in planned else name[begin:] for name in names)


def owners_of(names: Sequence[str], tracks: Sequence[Track], channels: int) -> dict[int, Track]:
    """The track that belongs on each channel of a take (from 1): by its name, else by number."""
    by_name = {_plain(track.name): track for track in tracks if track.name}
    named = {
        channel: by_name[_plain(name)]
        for channel, name in enumerate(names, start=1)
        if name and _plain(name) in by_name
    }
    if len(named) >= 2 and len({track.input for track in named.values()}) == len(named):
        return named
    return {track.input: track for track in tracks if track.input <= channels}


def name_findings(
    path: str, names: Sequence[str], tracks: Sequence[Track], owners: Mapping[int, Track]
) -> list[Finding]:
    """Channels that have a name of their own and another one in the plan.

    Where hardly any fits, that is one finding: the recorder was named for something else.
    """
    other = dict(_otherwise(names, tracks, owners))
    if not other:
        return []
    first = min(other)
    if len(other) > 2 and 2 * len(other) > sum(map(_is_name, names)):
        more = len(other) - 1
        text = f"its tracks are not named as planned: {other[first]}, and {more} more"
        return [Finding(Difference.NAMES, text, path)]
    return [
        Finding(Difference.NAMES, text, path, None, channel)
        for channel, text in sorted(other.items())
    ]


def _otherwise(
    names: Sequence[str], tracks: Sequence[Track], owners: Mapping[int, Track]
) -> list[tuple[int, str]]:
    planned_names = [_plain(track.name) for track in tracks]
    placed = {
        track.input
        for channel, track in owners.items()
        if channel <= len(names) and _plain(names[channel - 1]) == _plain(track.name)
    }
    by_input = {track.input: track for track in tracks if track.input not in placed}
    found = []
    for channel, name in enumerate(names, start=1):
        planned = by_input.get(channel)
        if planned is None or not _is_name(name) or not _is_name(planned.name):
            continue
        if _plain(name) in planned_names:
            continue  # its own track is looked for there
        cut_short = [n for n in planned_names if n.startswith(_plain(name))]
        if cut_short != [_plain(planned.name)]:
            found.append((channel, f"channel {channel} is named {name}, planned {planned.name}"))
    return found


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())


def _is_name(name: str) -> bool:
    return _NUMBER_ALONE.fullmatch(name.strip()) is None
