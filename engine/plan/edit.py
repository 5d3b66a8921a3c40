"""Changes to the text of a plan that leave its comments and all other lines as they are. Pure."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

import tomlkit
from tomlkit.items import AoT, Table

ORDER: Final = (
    "input",
    "name",
    "kind",
    "who",
    "level",
    "pack",
    "placement",
    "receiver",
    "battery",
)
"""Keys of a track in the order in which a new plan has them."""
_OFFERED: Final = re.compile(r"^((\w+) = .*\n)# \2 = .*\n", re.MULTILINE)


def set_value(text: str, track_index: int, key: str, value: str | int | None) -> str:
    """The plan with that key of its track at that place (in the file's order) set, or taken out.

    Raises
    ------
    IndexError
        If there is no such track.
    """
    document = tomlkit.parse(text)
    _set(_tracks(document)[track_index], key, value)
    return tomlkit.dumps(document)


def set_rows(text: str, rows: Sequence[Mapping[str, str | int]]) -> str:
    """A new plan with those values in its first tracks, in the file's order; other keys stay, and
    what the template only offers goes where it is set."""
    document = tomlkit.parse(text)
    for track, values in zip(_tracks(document), rows, strict=False):
        for key, value in values.items():
            _set(track, key, value)
    return _OFFERED.sub(r"\1", tomlkit.dumps(document))


def set_limits(text: str, track_index: int, limits: Mapping[str, float | str]) -> str:
    """The plan with exactly these limits under its track at that place."""
    document = tomlkit.parse(text)
    track = _tracks(document)[track_index]
    if "limits" not in track:
        if not limits:
            return text
        track["limits"] = tomlkit.table()
    table = track["limits"]
    for name in [name for name in table if name not in limits]:
        del table[name]
    for name, value in limits.items():
        if table.get(name) != value:
            _set(table, name, value)
    if not limits:
        del track["limits"]
    return tomlkit.dumps(document)


def swap_inputs(text: str, one: int, other: int) -> str:
    """The plan with the inputs of two tracks exchanged; one of them need not be in the plan."""
    document = tomlkit.parse(text)
    changed = {one: other, other: one}
    for track in _tracks(document):
        number = int(track["input"])
        if number in changed:
            _set(track, "input", changed[number])
    return tomlkit.dumps(document)


def add_track(text: str, number: int) -> str:
    """The plan with a fresh track on that input at its end."""
    document = tomlkit.parse(text)
    track = tomlkit.table()
    track["input"] = number
    _tracks(document).append(track)
    return tomlkit.dumps(document)


def remove_track(text: str, track_index: int) -> str:
    """The plan without its track at that place; IndexError where there is none."""
    document = tomlkit.parse(text)
    del _tracks(document)[track_index]
    return tomlkit.dumps(document)


def _tracks(document: tomlkit.TOMLDocument) -> AoT:
    """The document's [[track]] tables; tracks that stand in one list become such tables."""
    tracks = document.get("track")
    if not isinstance(tracks, AoT):
        listed = [] if tracks is None else tracks.unwrap()
        document.pop("track", None)
        tracks = tomlkit.aot()
        for entry in listed:
            tracks.append(tomlkit.item(entry))
        document["track"] = tracks
    return tracks


def _set(track: Table, key: str, value: str | float | None) -> None:
    if value is None:
        track.pop(key, None)
        return
    if key in track:
        old = track[key]
        fresh: Any = tomlkit.item(value)
        fresh.trivia.comment_ws, fresh.trivia.comment = old.trivia.comment_ws, old.trivia.comment
        fresh.trivia.trail = old.trivia.trail
        track[key] = fresh
        return
    before = [k for k in ORDER[: ORDER.index(key)] if k in track] if key in ORDER else []
    if before:  # tomlkit has no public way to put a key in its place
        track.value._insert_after(before[-1], key, tomlkit.item(value))
    else:
        track[key] = value


def set_take(text: str, key: str, value: str) -> str:
    """The plan with that key of its [take] set; an empty value takes it out where it is missing."""
    document = tomlkit.parse(text)
    if "take" not in document:
        document["take"] = tomlkit.table()
    take = document["take"]
    if value or key in take:
        _set(take, key, value)
    return tomlkit.dumps(document)


def move_track(text: str, track_index: int, by: int) -> str:
    """The plan with its track at that place moved up (negative) or down."""
    document = tomlkit.parse(text)
    tracks = _tracks(document)
    to = track_index + by
    if not (0 <= to < len(tracks) and 0 <= track_index < len(tracks)):
        return text
    order = list(range(len(tracks)))
    order.insert(to, order.pop(track_index))
    tables = tomlkit.aot()
    for at in order:
        tables.append(tracks[at])
    document["track"] = tables
    return tomlkit.dumps(document)
