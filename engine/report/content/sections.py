"""What the sections of a scan and of a session have in common."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from engine.alarms.coverage_timeline import CoverageTimeline
from engine.model.fault_remedies import check_first, spoils, word
from engine.model.messages import Incident
from engine.model.tracks import Plan
from engine.pipeline.scan_document import Failure
from engine.pipeline.sign_records import signs_before
from engine.report.content.alarm_figures import AlarmFigures, alarm_figures
from engine.report.content.beside_alarms import BesideAlarms, heard_before
from engine.report.content.coverage_history import CoverageHistory
from engine.report.content.report_data import Done, Entry, Excerpt, Report, Section
from engine.session.plan_history import PlanHistory

MOST_PICTURES: Final = 400
"""So that a night of trouble still makes a file that can be mailed; the worst come first."""

SEEN: Final = "seen"
"""What `Done` says of an acknowledgement."""

JOINED_S: Final = 1.0
"""On the first page of a day, stretches of one track less than this apart are one."""

AROUND_S: Final = 5.0
"""An incident's picture shows so many seconds before and after its onset."""


def entries(
    plan: Plan | PlanHistory,
    incidents: Sequence[Incident],
    coverage: CoverageTimeline | CoverageHistory,
    done: Mapping[int, Sequence[Done]],
) -> tuple[Entry, ...]:
    """The incidents by onset, with what to use instead and what was `done`, by incident id.

    Each names its track as the plan did at its onset.
    """
    plans = plan if isinstance(plan, PlanHistory) else PlanHistory(((0.0, plan),))
    rows = []
    ordered = sorted(incidents, key=lambda i: (i.onset_s, i.track or 0, i.id))
    for number, incident in enumerate(ordered, start=1):
        start_s, end_s = coverage.span(incident)
        rows.append(
            Entry(
                number=number,
                incident=incident,
                word=word(incident.fault),
                check_first=check_first(incident),
                spoils=spoils(incident),
                start_s=start_s,
                end_s=end_s,
                track=None
                if incident.track is None
                else plans.track(incident.track, incident.onset_s),
                instead=coverage.instead(incident),
                done=tuple(done.get(incident.id, ())),
            )
        )
    return tuple(rows)


def urgency(entry: Entry) -> tuple[bool, int, float, int]:
    """Sort key: uncovered, red, then the longest."""
    incident = entry.incident
    return (not incident.uncovered, -int(incident.severity), -entry.length_s, entry.number)


def is_unusable(entry: Entry) -> bool:
    """An editor has to leave that stretch: spoiled or red, and not told of by another row."""
    return (entry.spoils or entry.incident.red_s is not None) and entry.track is not None


def unusable_runs(section: Section) -> list[list[Entry]]:
    """The unusable stretches by time.

    Those of one track are joined that are less than a second apart and covered by the same track.
    """
    runs: list[list[Entry]] = []
    newest: dict[int, list[Entry]] = {}
    for entry in sorted(filter(is_unusable, section.entries), key=lambda one: one.start_s):
        assert entry.track is not None
        run = newest.get(entry.track.input)
        if run is not None and _joins(run, entry):
            run.append(entry)
        else:
            runs.append([entry])
            newest[entry.track.input] = runs[-1]
    return runs


def _joins(run: Sequence[Entry], entry: Entry) -> bool:
    end_s = max(one.end_s for one in run)
    uses = [{stretch.use for stretch in one.instead} for one in (*run, entry)]
    return entry.start_s - end_s < JOINED_S and all(use == uses[0] for use in uses)


def pictured(rows: Sequence[Entry]) -> list[Entry]:
    """The incidents that get a picture: the most urgent, in their order; no gathered ones."""
    own = [entry for entry in rows if entry.track is not None]
    chosen = {entry.number for entry in sorted(own, key=urgency)[:MOST_PICTURES]}
    return [entry for entry in own if entry.number in chosen]


def figures(section: Section) -> AlarmFigures:
    """The section's alarms in numbers; the first time somebody has seen one is its answer."""
    seen_s = {
        e.incident.id: d.at_s for e in section.entries for d in reversed(e.done) if d.text == SEEN
    }
    return alarm_figures([e.incident for e in section.entries], seen_s, section.duration_s)


def with_excerpts(rows: Sequence[Entry], excerpts: Mapping[int, Excerpt]) -> tuple[Entry, ...]:
    """The incidents with their excerpts, by number."""
    return tuple(replace(entry, excerpt=excerpts.get(entry.number)) for entry in rows)


def with_beside(rows: Sequence[Entry], aside: BesideAlarms) -> tuple[Entry, ...]:
    """The incidents with the signs before them, and who else heard whom nothing covered."""
    made = []
    for entry in rows:
        who = entry.track.who if entry.track is not None and entry.incident.uncovered else ""
        heard = heard_before(who, entry.start_s, aside.pickups) if who else None
        signs = signs_before(entry.incident, aside.signs)
        made.append(replace(entry, signs=signs, heard_on=heard))
    return tuple(made)


def report(sections: Sequence[Section], made_by: str, failures: Sequence[Failure] = ()) -> Report:
    """The whole report; its heading is what the sections' plans agree on."""
    if not sections:
        return Report("Nothing could be read", (), made_by, (), tuple(failures))
    plans = [section.plan for section in sections]
    titles = Counter(plan.title for plan in plans if plan.title)
    one_plan = len({(p.title, p.production, p.date, p.mixer, p.location) for p in plans}) == 1
    heading = _heading(plans[0]) if one_plan else ()
    title = next(iter(titles)) if len(titles) == 1 else f"{len(sections)} takes"
    name = title if titles else sections[0].name
    return Report(name, heading, made_by, tuple(sections), tuple(failures))


def _heading(plan: Plan) -> tuple[tuple[str, str], ...]:
    fields = (
        ("Production", plan.production),
        ("Date", plan.date),
        ("Location", plan.location),
        ("Mixer", plan.mixer),
    )
    return tuple((name, value) for name, value in fields if value)
