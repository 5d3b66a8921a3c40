"""SUPPRESSION: which alarm suppresses which, as data; and what tracks of a plan have in common.

Faults that begin together come from one cause: a receiver, or the whole input. While every track
of a cause is in fault, the cause's one alarm suppresses theirs.

Source: CONTRACT.md; suppression by design is that of ISA-18.2; that a receiver takes all of its
tracks with it is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from engine.model.fault_rules import GAPS, LINK_NOISE, LOSS
from engine.model.messages import Fault, Kind
from engine.model.tracks import Track

TOGETHER_S: Final = 2.0
"""Onsets this close belong to one cause, s."""

WHOLE_INPUT: Final = "input"
"""Name of the cause that all tracks share."""


class Speaker(StrEnum):
    """What an alarm can speak for."""

    TRACK = "track"
    RECEIVER = "receiver"
    INPUT = "input"


@dataclass(frozen=True, slots=True)
class SuppressionRule:
    """While the alarm of such a cause stands, it suppresses others of the same family.

    source, targets : whose alarm suppresses whose, on the tracks of that cause
    families : those to which the rule applies
    share : least share of its tracks that must be in fault
    within_s : their faults began so close together, s
    nearly : share that is enough where they began at one moment (`AT_ONCE_S`), four or more of
        them; None where all that `share` says are needed
    detail : what the cause's alarm says, with the cause's name and its number of tracks ("all "
        where no other has come along); after the colon, what to check first
    """

    source: Speaker
    targets: tuple[Speaker, ...]
    families: tuple[str, ...]
    detail: str
    share: float = 1.0
    within_s: float = TOGETHER_S
    nearly: float | None = None


AT_ONCE_S: Final = 0.1
"""Nothing but what they share ends most inputs within one tick, s. Ours."""

LEAST_AT_ONCE: Final = 4
"""Of fewer tracks nearly all is no word. Ours."""

_NEARLY: Final = 0.75
"""One may be mute anyway, or be switched to something else. Ours."""

_LINK: Final = (LOSS, Fault.STUCK.value, GAPS)
"""Families that a receiver or an interface can bring upon all of its tracks."""
_SHARED: Final = 0.75
_SHARED_WITHIN_S: Final = 5.0
"""What several tracks share is seen on some of them later, and on a loud one not at all: mains are
looked for in pauses of speech. Common practice, no source."""

SUPPRESSION: Final = (
    SuppressionRule(
        Speaker.INPUT,
        targets=(Speaker.RECEIVER, Speaker.TRACK),
        families=(LOSS,),
        detail="{all}{count} tracks at once: interface, its cable, clock",
        nearly=_NEARLY,
    ),
    SuppressionRule(
        Speaker.INPUT,
        targets=(Speaker.RECEIVER, Speaker.TRACK),
        families=tuple(family for family in _LINK if family != LOSS),
        detail="{all}{count} tracks at once: interface, its cable, clock",
    ),
    SuppressionRule(
        Speaker.RECEIVER,
        targets=(Speaker.TRACK,),
        families=_LINK,
        detail="receiver {name}: all its {count} tracks at once: power, antennas, output",
    ),
    SuppressionRule(
        Speaker.INPUT,
        targets=(Speaker.RECEIVER, Speaker.TRACK),
        families=(Fault.HUM.value,),
        detail="{count} tracks at once: the mains and the ground that they share, a generator",
        share=_SHARED,
        within_s=_SHARED_WITHIN_S,
    ),
    SuppressionRule(
        Speaker.INPUT,
        targets=(Speaker.RECEIVER, Speaker.TRACK),
        families=(LINK_NOISE,),
        detail="{count} tracks at once: the interface, its clock, a transmitter near all antennas",
        share=_SHARED,
        within_s=_SHARED_WITHIN_S,
    ),
    SuppressionRule(
        Speaker.INPUT,
        targets=(Speaker.RECEIVER, Speaker.TRACK),
        families=(Fault.TONE.value,),
        detail="line-up tone on {count} tracks: take it off before the microphones are needed",
        share=_SHARED,
        within_s=_SHARED_WITHIN_S,
    ),
    SuppressionRule(
        Speaker.INPUT,
        targets=(Speaker.RECEIVER, Speaker.TRACK),
        families=(Fault.DC.value,),
        detail="{count} tracks at once: the interface, its power supply",
        share=_SHARED,
        within_s=_SHARED_WITHIN_S,
    ),
    SuppressionRule(
        Speaker.RECEIVER,
        targets=(Speaker.TRACK,),
        families=(LINK_NOISE, Fault.DC.value),
        detail="receiver {name}: {count} tracks at once: range, antennas, its output",
        share=_SHARED,
        within_s=_SHARED_WITHIN_S,
    ),
    SuppressionRule(
        Speaker.RECEIVER,
        targets=(Speaker.TRACK,),
        families=(Fault.HUM.value,),
        detail="receiver {name}: {count} tracks at once: power supply, ground, output cable",
        share=_SHARED,
        within_s=_SHARED_WITHIN_S,
    ),
)
"""The widest cause first."""

FAMILIES: Final = tuple(dict.fromkeys(f for rule in SUPPRESSION for f in rule.families))
"""Every family that some cause can bring upon several tracks."""


@dataclass(frozen=True, slots=True)
class Cause:
    """What several tracks have in common, and their indices."""

    speaker: Speaker
    name: str
    track_indices: tuple[int, ...]


def causes(tracks: tuple[Track, ...]) -> tuple[Cause, ...]:
    """The common causes that a plan knows, the widest first; each takes two tracks or more."""
    carrying = [n for n, t in enumerate(tracks) if t.kind in (Kind.LAV, Kind.BOOM, Kind.AMBIENCE)]
    racks: dict[str, list[int]] = {}
    for track_index in carrying:
        if tracks[track_index].receiver:
            racks.setdefault(tracks[track_index].receiver, []).append(track_index)
    common = [Cause(Speaker.RECEIVER, name, tuple(behind)) for name, behind in racks.items()]
    if all(len(cause.track_indices) < len(carrying) for cause in common):
        common.insert(0, Cause(Speaker.INPUT, WHOLE_INPUT, tuple(carrying)))
    return tuple(cause for cause in common if len(cause.track_indices) > 1)


def rule_for(cause: Cause, family: str) -> SuppressionRule | None:
    """The rule by which that cause suppresses alarms of that family, if there is one."""
    return next(
        (r for r in SUPPRESSION if r.source is cause.speaker and family in r.families), None
    )


def suppresses(source: Cause, target: Speaker, family: str) -> bool:
    """The table lets that cause's alarm suppress what speaks for `target`, in that family."""
    rule = rule_for(source, family)
    return rule is not None and target in rule.targets


def common_onset_s(spans_s: Sequence[tuple[float, float]], within_s: float) -> float | None:
    """Where faults that last (from, until) began together; None where they did not.

    A track may have been in fault before the cause came: its fault says nothing against it, as
    long as more faults than those, two or more, began within `within_s` and all stood at one time.
    """
    newest_s = max(since_s for since_s, _ in spans_s)
    if newest_s > min(until_s for _, until_s in spans_s):
        return None
    together = [since_s for since_s, _ in spans_s if since_s >= newest_s - within_s]
    before = len(spans_s) - len(together)
    return min(together) if len(together) > max(1, before) else None
