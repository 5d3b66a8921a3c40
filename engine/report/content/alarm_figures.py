"""How many alarms there were, how fast they were answered, and when there were too many.

Source of the terms and bounds: ANSI/ISA-18.2-2016 section 16.4 and IEC 62682, as public summaries
state them (the standards' own text was not read).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Final

from engine.model.messages import Incident, Severity

FLOOD_WINDOW_S: Final = 600.0
FLOOD_BEGINS_ABOVE: Final = 10
FLOOD_ENDS_BELOW: Final = 5
ACCEPTABLE_PER_HOUR: Final = 6
"""About as many alarms an operator can well answer, averaged over long times."""

MANAGEABLE_PER_HOUR: Final = 12
"""About the most that an operator can manage, averaged over long times."""

CHATTER_RAISES: Final = 3
CHATTER_WINDOW_S: Final = 60.0


@dataclass(frozen=True, slots=True)
class Flood:
    """From the alarm that was one too many in ten minutes until fewer than five were."""

    start_s: float
    end_s: float
    alarms: int


@dataclass(frozen=True, slots=True)
class Chatter:
    """One fault of one track that was raised three times or more in a minute."""

    track: int | None
    fault: str
    raises: int


@dataclass(frozen=True, slots=True)
class AlarmFigures:
    """The alarms of one section. Times to answer are None where nobody answered any."""

    alarms: int
    red: int
    per_hour: float | None
    most_in_10_min: int
    floods: tuple[Flood, ...]
    flood_fraction: float
    chattering: tuple[Chatter, ...]
    answered: int
    answer_median_s: float | None
    answer_longest_s: float | None


def alarm_figures(
    incidents: Sequence[Incident], seen_s: Mapping[int, float], duration_s: float
) -> AlarmFigures:
    """The figures of a take that lasts `duration_s`.

    An alarm counts when it was raised (amber, or red at once) and no cause spoke for it; `seen_s`
    is when each incident, by its id, was acknowledged first.
    """
    raised = sorted(
        ((_raised_s(i), i) for i in incidents if i.part_of is None and _raised_s(i) is not None),
        key=lambda pair: (pair[0] or 0.0, pair[1].id),
    )
    times_s = [at_s for at_s, _ in raised if at_s is not None]
    waits_s = [
        max(seen_s[i.id] - at_s, 0.0) for at_s, i in raised if i.id in seen_s and at_s is not None
    ]
    all_floods = floods(times_s, duration_s)
    flooded_s = sum(flood.end_s - flood.start_s for flood in all_floods)
    return AlarmFigures(
        alarms=len(raised),
        red=sum(i.severity is Severity.RED for _, i in raised),
        per_hour=len(raised) * 3600.0 / duration_s if duration_s > 0.0 else None,
        most_in_10_min=max(
            (bisect_right(times_s, at_s + FLOOD_WINDOW_S) - n for n, at_s in enumerate(times_s)),
            default=0,
        ),
        floods=all_floods,
        flood_fraction=flooded_s / duration_s if duration_s > 0.0 else 0.0,
        chattering=_chattering([(at_s, i) for at_s, i in raised if at_s is not None]),
        answered=len(waits_s),
        answer_median_s=median(waits_s) if waits_s else None,
        answer_longest_s=max(waits_s, default=None),
    )


def _raised_s(incident: Incident) -> float | None:
    return incident.red_s if incident.amber_s is None else incident.amber_s


def floods(times_s: Sequence[float], duration_s: float) -> tuple[Flood, ...]:
    """Floods among alarms raised at these times, in order.

    One begins with the alarm that makes more than ten in the ten minutes up to it, and ends once
    fewer than five are left in the last ten minutes, or with the take.
    """
    all_floods: list[Flood] = []
    n = 0
    while n < len(times_s):
        at_s = times_s[n]
        if n + 1 - bisect_left(times_s, at_s - FLOOD_WINDOW_S) <= FLOOD_BEGINS_ABOVE:
            n += 1
            continue
        # It goes on while the alarm four places back is still in the window: five are left.
        last = n
        back = FLOOD_ENDS_BELOW - 1
        while last + 1 < len(times_s) and (
            times_s[last + 1] <= times_s[last - back] + FLOOD_WINDOW_S
        ):
            last += 1
        end_s = min(times_s[last - back] + FLOOD_WINDOW_S, duration_s)
        all_floods.append(Flood(at_s, max(end_s, at_s), last + 1 - n))
        n = last + 1
    return tuple(all_floods)


def _chattering(raised: Sequence[tuple[float, Incident]]) -> tuple[Chatter, ...]:
    by_alarm: defaultdict[tuple[int | None, str], list[float]] = defaultdict(list)
    for at_s, incident in raised:
        by_alarm[incident.track, incident.fault.value].append(at_s)
    worst: Counter[tuple[int | None, str]] = Counter()
    for key, times_s in by_alarm.items():
        most = max(bisect_right(times_s, t + CHATTER_WINDOW_S) - n for n, t in enumerate(times_s))
        if most >= CHATTER_RAISES:
            worst[key] = most
    return tuple(Chatter(track, fault, n) for (track, fault), n in worst.most_common())
