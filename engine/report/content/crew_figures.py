"""What to fix after the event: what failed how often, when, how fast it was seen and mended.

For the crew, not for post. Earlier sessions of the same kit are told by pack label and receiver.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Final

from engine.report.content.report_data import Entry, Section
from engine.report.content.sections import SEEN

PACK, RECEIVER, PLACE, INPUT = "pack", "receiver", "cable, place", "input"
_ORDER: Final = (RECEIVER, PACK, PLACE, INPUT)


@dataclass(frozen=True, slots=True)
class KitFigures:
    """One piece of kit that failed.

    what, name : "pack" 7, "receiver" A, "cable, place", "input"
    failures : incidents of the session; `earlier`: in earlier sessions, None where it was in none
    first_s : onset of the first
    faults : words of what happened, each once
    battery_s : age of its battery at the first failure, s; None where unknown
    seen_s, mended_s : medians from onset, s; None where it never was
    """

    what: str
    name: str
    failures: int
    faults: tuple[str, ...]
    first_s: float
    battery_s: float | None
    seen_s: float | None
    mended_s: float | None
    done: tuple[str, ...] = ()
    earlier: int | None = None


def kit_figures(
    section: Section, earlier: Sequence[Mapping[tuple[str, str], int]] = ()
) -> tuple[KitFigures, ...]:
    """What failed, the most often first; `earlier` are the counts of earlier sessions."""
    grouped: defaultdict[tuple[str, str], list[Entry]] = defaultdict(list)
    for entry in section.entries:
        for key in _kit_of(entry, section):
            grouped[key].append(entry)
    made = [_figures(key, entries, section, earlier) for key, entries in grouped.items()]
    return tuple(sorted(made, key=lambda k: (-k.failures, _ORDER.index(k.what), k.name)))


def failure_counts(section: Section) -> Mapping[tuple[str, str], int]:
    """How often each piece of kit failed; those that were there and did not have 0."""
    counts: dict[tuple[str, str], int] = {}
    for track in section.plan.tracks:
        for key in ((PACK, track.pack), (RECEIVER, track.receiver)):
            if key[1]:
                counts.setdefault(key, 0)
    for entry in section.entries:
        for key in _kit_of(entry, section):
            counts[key] = counts.get(key, 0) + 1
    return counts


def _kit_of(entry: Entry, section: Section) -> Iterator[tuple[str, str]]:
    """What an incident is counted for; a common cause counts for its receiver alone."""
    track, incident = entry.track, entry.incident
    if track is None:
        tracks = [section.track(number, entry.start_s) for number in incident.tracks]
        receivers = {one.receiver for one in tracks if one is not None}
        if len(receivers) == 1 and "" not in receivers:
            yield RECEIVER, receivers.pop()
    elif incident.part_of:
        return
    elif track.pack:
        yield PACK, track.pack
    elif track.placement:
        yield PLACE, track.placement
    else:
        yield INPUT, str(track.input)


def _figures(
    key: tuple[str, str],
    entries: Sequence[Entry],
    section: Section,
    earlier: Sequence[Mapping[tuple[str, str], int]],
) -> KitFigures:
    seen = [d.at_s - e.start_s for e in entries for d in e.done if d.text == SEEN]
    mended = [e.length_s for e in entries if not e.lasts]
    tracks = {e.track.input for e in entries if e.track is not None}
    first_s = min(e.start_s for e in entries)
    fresh = [b.at_s for b in section.batteries if b.track in tracks and b.at_s <= first_s]
    known = [counts[key] for counts in earlier if key in counts]
    return KitFigures(
        *key,
        len(entries),
        tuple(dict.fromkeys(e.word for e in entries)),
        first_s,
        first_s - max(fresh) if fresh else None,
        median(seen) if seen else None,
        median(mended) if mended else None,
        tuple(dict.fromkeys(d.text for e in entries for d in e.done if d.text != SEEN)),
        sum(known) if known else None,
    )
