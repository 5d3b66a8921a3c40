"""What a report says, and in which order."""

from __future__ import annotations

from itertools import pairwise
from typing import TypeGuard

from engine.model.messages import Fault, Severity
from engine.report.content.report_data import Break, Done, Note, Section
from engine.report.content.sections import MOST_PICTURES, SEEN, pictured, report
from engine.report.layout.blocks import Block, Heading, Pictures, Table, Text
from engine.report.layout.pages import pages
from tests.support.sample_report import excerpt, incident, section

SAFETY = "track 2 Foreman safety (pack 2)"


def blocks(*sections: Section) -> tuple[Block, ...]:
    """All blocks of the report of these sections."""
    return pages(report(sections, "made"))


def said(*sections: Section) -> str:
    """All texts, one a line."""
    lines = []
    for block in blocks(*sections):
        if isinstance(block, Heading | Text):
            lines.append(block.text)
        elif isinstance(block, Table):
            lines += [" | ".join(cell.text for cell in row) for row in block.rows]
    return "\n".join(lines)


def table_after(heading: str, *sections: Section) -> Table:
    """The first table after that heading."""
    found = list(blocks(*sections))
    start = next(n for n, b in enumerate(found) if isinstance(b, Heading) and b.text == heading)
    return next(block for block in found[start:] if isinstance(block, Table))


def test_page_one_says_what_to_use_instead() -> None:
    """Timecode in and out, length, track, fault, and the healthy pack."""
    (row,) = table_after("Unusable, and what to use instead", section([incident()])).rows
    assert [cell.text for cell in row] == [
        *("1", "21:01:40:00", "21:02:10:00", "30.0 s"),
        *("1 Foreman main", "muted", "track 2 Foreman safety (pack 2)"),
    ]


def test_cover_that_goes_is_told_stretch_by_stretch() -> None:
    """When the safety fails in the middle, the row says until when it may be used."""
    faults = [incident(1, 1), incident(2, 2, onset_s=120.0, end_s=200.0)]
    row = table_after("Unusable, and what to use instead", section(faults)).rows[0]
    assert row[-1].text == (
        "21:01:40:00 to 21:02:00:00 track 2 Foreman safety (pack 2); "
        "21:02:00:00 to 21:02:10:00 NOTHING: no usable track"
    )


def test_no_bad_frame_is_offered_as_backup() -> None:
    """A safety that fails within a frame is offered up to that frame, and from the next whole one;
    a track that is not spoiled is not called unusable meanwhile."""
    faults = [
        incident(1, 1, fault=Fault.PAIR_DRIFT, severity=Severity.RED),
        incident(2, 2, onset_s=110.01, end_s=115.03),
    ]
    row = table_after("Unusable, and what to use instead", section(faults)).rows[0]
    assert row[-1].text == (
        "21:01:40:00 to 21:01:50:00 track 2 Foreman safety (pack 2); "
        "21:01:50:00 to 21:01:55:01 no backup track: listen first; "
        "21:01:55:01 to 21:02:10:00 track 2 Foreman safety (pack 2)"
    )


def test_who_had_no_good_pack_is_said_in_words() -> None:
    """One line each: the safety, then nothing; with the covered share: 10 of 600 s without."""
    faults = [incident(1, 1), incident(2, 2, onset_s=120.0, end_s=200.0)]
    rows = table_after("Which track to use of each performer", section(faults)).rows
    assert [[cell.text for cell in row] for row in rows] == [
        ["Foreman", "21:01:40:00", "21:02:00:00", "20.0 s", SAFETY, "98.3 %"],
        ["Foreman", "21:02:00:00", "21:02:10:00", "10.0 s", "NOTHING: no usable track", "98.3 %"],
    ]


def test_page_one_keeps_to_the_worst() -> None:
    """With more than fit, the uncovered and the longest are shown, and how many more there are."""
    faults = [incident(n, 3, onset_s=5.0 * n, end_s=5.0 * n + 1) for n in range(100)]
    faults[40] = incident(40, 1, onset_s=200.0, end_s=200.5, uncovered=True)
    rows = table_after("Unusable, and what to use instead", section(faults)).rows
    assert 6 <= len(rows) < 30
    assert "41" in [row[0].text for row in rows]
    assert f"{100 - len(rows)} more of them" in said(section(faults))


def test_what_is_usable_is_only_counted_on_page_one() -> None:
    """Hum in amber is no reason to leave a stretch."""
    faults = [incident(fault=Fault.HUM, severity=Severity.AMBER, red_s=None)]
    assert "1 other incident, usable or minor" in said(section(faults))
    assert "Nothing in this take is unusable." in said(section(faults))


def test_the_watch_owns_up_first() -> None:
    """Lost audio is told before anything the watch found; without any, that is told."""
    lost = section(breaks=(Break(60.0, 61.5, "1.50 s of audio lost: overflow"),))
    lines = said(lost).split("\n")
    told = "Not watched 21:01:00:00 to 21:01:01:13: 1.50 s of audio lost: overflow"
    assert lines.index(told) < lines.index("Unusable, and what to use instead")
    assert "Monitoring complete" in said(section())


def test_what_was_done_is_told_with_its_time() -> None:
    """Seen, shelved and notes stand beside the incident, only where there was a crew."""
    done = {1: (Done(110.0, SEEN, "assistant"), Done(112.0, "note “new battery”"))}
    text = "21:01:50:00 seen by assistant; 21:01:52:00 note “new battery”"
    assert text in said(section([incident()], done=done, crew=True))
    assert "median 9.5 s" in said(section([incident()], done=done, crew=True))
    assert "a scan has no crew to see them" in said(section([incident()]))


def test_parts_without_content_are_left_out() -> None:
    """No marks, batteries or line check: no heading for them; with them, they are there."""
    assert "Marks" not in said(section()).split("\n")
    lines = said(section(marks=(Note(5.0, "slate"),), batteries=(Note(6.0, "fresh", "", 1),)))
    assert {"Marks", "Batteries"} <= set(lines.split("\n"))
    assert "21:00:06:00 | 1 Foreman main | fresh | —" in lines


def test_pictures_are_bounded_and_the_bound_is_said() -> None:
    """At most so many pictures, the most urgent; a report never hides that there were more."""
    many = MOST_PICTURES + 50
    faults = [incident(n, 3, onset_s=n, end_s=n + 0.5) for n in range(many)]
    made = section(faults)
    shown = {entry.number for entry in pictured(made.entries)}
    assert len(shown) == MOST_PICTURES
    entries = tuple(
        type(entry)(
            *(getattr(entry, name) for name in entry.__slots__[:-1]),
            excerpt(0.0) if entry.number in shown else None,
        )
        for entry in made.entries
    )
    made = section(faults, entries=entries)
    assert f"The {MOST_PICTURES} most urgent of {many}" in said(made)
    last = [block for block in blocks(made) if isinstance(block, Pictures)][-1]
    assert len(last.drawings) == MOST_PICTURES


def test_a_day_lists_all_that_is_unusable_joined() -> None:
    """Every take's stretches stand on page one; those under a second apart are one line."""
    faults = [
        incident(n, onset_s=10.0 * n, end_s=10.0 * n + 9.5, severity=Severity.RED)
        for n in range(1, 41)
    ]
    apart = [
        incident(n, onset_s=20.0 * n, end_s=20.0 * n + 9.5, severity=Severity.RED)
        for n in range(1, 26)
    ]
    blocks = pages(report([section(faults, name="one.wav"), section(apart, name="two.wav")], "x"))
    first = next(n for n, b in enumerate(blocks) if isinstance(b, Heading) and b.new_page)
    (table,) = [b for b in blocks[:first] if isinstance(b, Table) and b.columns[1].name == "In"]
    takes = [row[0].text for row in table.rows]
    assert takes.count("one.wav") == 1
    assert takes.count("two.wav") == 25


def test_a_day_goes_by_time_and_leads_to_each_take() -> None:
    """What is unusable stands first, by time and past midnight; then each take, with a link."""
    late = section([incident()], name="late.wav", start_s=23 * 3600.0)
    early = section([incident()], name="early.wav", start_s=1 * 3600.0)
    found = blocks(early, late)
    first, second = [b for b in found if isinstance(b, Table)][:2]
    assert [row[0].text for row in first.rows] == ["late.wav", "early.wav"]
    assert [row[0].text for row in second.rows] == ["early.wav", "late.wav"]
    anchors = {b.anchor: b.text for b in found if isinstance(b, Heading) and b.anchor}
    for table in (first, second):
        assert all(anchors[row[0].link] == row[0].text for row in table.rows)


def test_a_row_leads_to_its_incident_among_all() -> None:
    """The number on page one is a link to the row that tells everything of it."""
    made = section([incident()])
    (row,) = table_after("Unusable, and what to use instead", made).rows
    (own,) = table_after("All incidents", made).rows
    assert row[0].link == own[0].anchor != ""


def test_no_level_of_heading_is_left_out() -> None:
    """A report named like its only take has parts right below its title."""
    levels = [b.level for b in blocks(section([incident()])) if isinstance(b, Heading)]
    assert all(after <= before + 1 for before, after in pairwise(levels))
    assert levels[0] == 1


def test_wide_tables_lie_on_their_side() -> None:
    """All incidents begin pages in landscape where the take stands alone, or had a crew."""
    (alone,) = [b for b in blocks(section([incident()])) if _is_list(b)]
    assert alone.landscape
    scans = [b for b in blocks(section([incident()]), section([incident()])) if _is_list(b)]
    assert not any(heading.landscape for heading in scans)


def _is_list(block: Block) -> TypeGuard[Heading]:
    return isinstance(block, Heading) and block.text == "All incidents"


def test_no_hourly_rate_of_minutes() -> None:
    """Of ten minutes no alarms an hour are told; of two hours they are."""
    assert "an hour are acceptable" not in said(section([incident()]))
    assert "an hour are acceptable" in said(section([incident()], duration_s=7200.0))
