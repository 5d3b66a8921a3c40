"""Views of a session log for people who query it by themselves: names, units, UTC and timecode."""

from __future__ import annotations

from typing import Final

_HEX: Final = "'0123456789ABCDEF'"


def _byte(pair: str) -> str:
    """The value of two hexadecimal digits, as SQL."""
    high, low = (f"(instr({_HEX}, substr({pair}, {n}, 1)) - 1)" for n in (1, 2))
    return f"(16 * {high} + {low})"


def _level(row: int) -> str:
    """A level of the blob's row (0 to 2) as SQL: 16 bits, little endian, hundredths of a dB.

    `length(levels) / 6` tracks have three of them each; -32768 stands for none.
    """
    at = f"4 * ({row} * (length(levels) / 6) + place) + 1"
    low = _byte(f"substr(hex(levels), {at}, 2)")
    high = _byte(f"substr(hex(levels), {at} + 2, 2)")
    return f"nullif(({low} + 256 * {high} + 32768) % 65536 - 32768, -32768) / 100.0"


def _utc(milliseconds: str) -> str:
    return f"strftime('%Y-%m-%dT%H:%M:%fZ', ({milliseconds}) / 1000.0, 'unixepoch')"


def _change_utc(moment: str, kind: str, order: str) -> str:
    """The wall clock at a moment of an incident, reckoned from the change of that kind."""
    return f"""(
    SELECT {_utc(f"utc_ms - 1000 * (at_s - i.{moment})")} FROM change
    WHERE incident = i.id AND kind = '{kind}' ORDER BY id {order} LIMIT 1)"""


VIEWS: Final = f"""
CREATE VIEW incident_readable AS SELECT
    i.id, i.fault, i.severity, i.track, p.name, p.kind, p.who, p.pack, p.placement, p.receiver,
    i.tracks, {_change_utc("onset_s", "raised", "ASC")} AS onset_utc, i.onset_timecode, i.onset_s,
    i.amber_s, i.red_s, {_change_utc("end_s", "cleared", "DESC")} AS end_utc,
    nullif(i.end_timecode, '') AS end_timecode, i.end_s, i.end_s - i.onset_s AS length_s,
    i.covered_by, i.uncovered, i.detail, i.part_of
FROM incident AS i LEFT JOIN plan_track AS p ON p.input = i.track AND p.from_s = (
    SELECT max(from_s) FROM plan_version WHERE from_s <= max(i.onset_s, 0.0))
ORDER BY i.onset_s, i.id;

CREATE VIEW level_readable AS SELECT
    second, {_utc("utc_ms")} AS utc, w.track, p.name,
    {_level(0)} AS momentary_max_lufs, {_level(1)} AS sample_peak_dbfs, {_level(2)} AS rms_dbfs
FROM (
    SELECT l.second, l.utc_ms, l.levels, e.key AS place, e.value AS track
    FROM level AS l, json_each(coalesce(
        (SELECT inputs FROM inputs WHERE from_second <= l.second
            ORDER BY from_second DESC LIMIT 1),
        (SELECT json_group_array(input) FROM (SELECT input FROM track ORDER BY place)))) AS e
) AS w LEFT JOIN plan_track AS p ON p.input = w.track AND p.from_s = (
    SELECT max(from_s) FROM plan_version WHERE from_s <= w.second);

CREATE VIEW mark_readable AS SELECT
    id, {_utc("utc_ms")} AS utc, timecode, at_s, text, who FROM mark ORDER BY at_s, id;
"""
