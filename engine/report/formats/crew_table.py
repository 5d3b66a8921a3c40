"""What failed how often, as CSV: for those who look after the kit."""

from __future__ import annotations

import csv
import io
from typing import Final

from engine.report.content.crew_figures import KitFigures, kit_figures
from engine.report.content.report_data import Report, Section
from engine.report.formats.csv_table import BOM, harmless

HEAD: Final = (
    *("session", "what", "name", "failures", "failures_earlier", "faults", "first_timecode"),
    *("first_s", "battery_s", "seen_s", "mended_s", "what_was_done"),
)


def crew_spreadsheet(report: Report, *, bom: bool = True) -> str:
    """One row a pack, receiver, place or input that failed; as `csv_table.spreadsheet` writes."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n", quoting=csv.QUOTE_NONNUMERIC)
    writer.writerow(HEAD)
    for section in report.sections:
        for one in kit_figures(section, section.earlier):
            writer.writerow(
                [harmless(v) if isinstance(v, str) else v for v in _values(one, section)]
            )
    return (BOM if bom else "") + out.getvalue()


def _values(one: KitFigures, section: Section) -> list[str | int | float]:
    times = (one.battery_s, one.seen_s, one.mended_s)
    return [
        section.name,
        one.what,
        one.name,
        one.failures,
        "" if one.earlier is None else one.earlier,
        ", ".join(one.faults),
        section.timecode(one.first_s),
        round(one.first_s, 3),
        *("" if seconds is None else round(seconds, 1) for seconds in times),
        "; ".join(one.done),
    ]
