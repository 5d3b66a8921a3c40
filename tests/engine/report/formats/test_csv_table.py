"""The CSV form.

Sources: RFC 4180 (CRLF, quotes doubled); for texts that a spreadsheet would take for formulas OWASP
ASVS, requirement 1.2.10: one that begins with = + - @ or a tab gets a single quote before it.
"""

from __future__ import annotations

import csv
import io
import re

from hypothesis import given

from engine.model.messages import Fault
from engine.model.tracks import Plan, Track
from engine.report.content.sections import report
from engine.report.formats.csv_table import HEAD, harmless, spreadsheet
from tests.support.sample_report import PLAN, incident, nasty_texts, section


def rows(text: str) -> list[dict[str, str]]:
    """The rows as a reader of RFC 4180 has them."""
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


@given(nasty_texts)
def test_no_text_is_a_formula_and_none_is_lost(text: str) -> None:
    """A cell never begins as a formula does, and holds the whole text after its quote mark."""
    plan = Plan((Track(1, text, who=text, pack=text), *PLAN.tracks[1:]), text)
    made = report([section([incident(detail=text)], plan, name=text)], "")
    (row,) = rows(spreadsheet(made, bom=False))
    for key in ("take", "name", "who", "pack", "detail"):
        shown = "Track 1" if key == "name" and not text else text
        assert not row[key].startswith(("=", "+", "-", "@", "\t", "\r"))
        assert row[key] in (shown, "'" + shown)


def test_rows_end_as_the_rfc_says() -> None:
    """Lines end in CRLF and each has as many cells as the head."""
    text = spreadsheet(report([section([incident(1), incident(2, 3)])], ""), bom=False)
    assert text.count("\r\n") == text.count("\n") == 3
    assert all(len(row) == len(HEAD) for row in csv.reader(io.StringIO(text, newline="")))


def test_the_byte_order_mark_is_an_option() -> None:
    """With it the text begins with U+FEFF, without it with the head."""
    made = report([section()], "")
    assert spreadsheet(made).startswith("\ufeff")
    assert spreadsheet(made, bom=False).startswith('"take"')


def test_timecodes_are_text_and_numbers_are_numbers() -> None:
    """Timecodes stand in quotes as labels, seconds without quotes."""
    line = spreadsheet(report([section([incident()])], ""), bom=False).split("\r\n")[1]
    assert '"21:01:40:00","21:02:10:00",100.0,130.0,30.0' in line
    assert re.search(r'"track 2 Foreman safety \(pack 2\)"', line)


def test_negative_numbers_in_texts_are_kept() -> None:
    """Only a leading sign is guarded."""
    assert harmless("-12 dB") == "'-12 dB"
    assert harmless("at -12 dB") == "at -12 dB"


def test_faults_are_called_as_on_the_board() -> None:
    """An editor reads `dead mic`, as in README.md and on page one, not the program's key for it."""
    faults = [incident(n, 3, fault=fault) for n, fault in enumerate(Fault, 1)]
    made = report([section(faults)], "")
    told = [row["fault"] for row in rows(spreadsheet(made, bom=False))]
    assert told == [entry.word for entry in made.sections[0].entries]
    assert {"dead mic", "clipping", "noise burst"} <= set(told)
    assert not any("_" in word for word in told)
