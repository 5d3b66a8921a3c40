"""engine/CONTRACT.md against the code: what is promised is what the program does."""

from __future__ import annotations

import re

import pytest

from app.cli import main
from engine.alarms.cause_rules import TOGETHER_S
from engine.alarms.machine import CHATTER_RAISES, CHATTER_WINDOW_S
from engine.model.fault_rules import BURST_GAP_S
from engine.model.messages import Fault
from engine.pipeline.scan_document import SCHEMA
from engine.plan.keys import LONGEST_TEXT
from engine.plan.load import LONGEST_FILE_BYTES
from engine.report.formats.json_document import SCHEMA as REPORT_SCHEMA
from engine.session.schema import APPLICATION_ID
from engine.sources.wav_header import MAX_CHANNELS
from tests.architecture.contract_tables import CONTRACT, TABLES, made, written
from tests.support.checkout import ROOT

TEXT = CONTRACT.read_text("utf-8")
PLAIN = " ".join(TEXT.split())


@pytest.fixture(scope="module")
def from_code() -> dict[str, str]:
    """Every table as the code has it."""
    return made()


@pytest.mark.parametrize("name", TABLES)
def test_a_table_is_what_the_code_has(name: str, from_code: dict[str, str]) -> None:
    """Commands, keys, limits, delays, kinds, states and columns are those of the code."""
    assert written().get(name) == from_code[name], (
        f"the contract's table {name!r} differs; is the change meant? "
        "`python -m tests.architecture.contract_tables` prints it to paste"
    )


def test_no_table_is_left_over() -> None:
    """Each table between marks is one that the code can be held against."""
    assert set(written()) == set(TABLES)


def test_each_fault_is_said_to_be_something() -> None:
    """Every fault has one row that says what it is, in the order of the catalogue."""
    meanings = TEXT.split("| fault | what it is |")[1].split("\n\n")[0]
    assert re.findall(r"^\| `(\w+)` \|", meanings, re.MULTILINE) == list(Fault)


@pytest.mark.parametrize(
    "promise",
    [
        f"At most {MAX_CHANNELS} tracks",
        f"at most {LONGEST_FILE_BYTES // 1024} KiB",
        f"at most {LONGEST_TEXT} characters",
        f"less than {BURST_GAP_S:g} s apart are one incident",
        f"fails within {TOGETHER_S:g} s, one alarm",
        f"`application_id` 0x{APPLICATION_ID:X}",
        f"`schema` is {SCHEMA}. Keys may be added",
        f"`scan --report`. `schema` is {REPORT_SCHEMA}.",
        f"| 0 | nothing went red | done | | {main.RED} | something went red",
    ],
)
def test_numbers_between_the_words(promise: str) -> None:
    """Numbers that stand in sentences are those of the code."""
    assert promise in PLAIN


def test_chatter_is_counted_as_promised() -> None:
    """Three times or more in a minute, as the contract has it in words."""
    assert (CHATTER_RAISES, CHATTER_WINDOW_S) == (3, 60.0)
    assert "raised three times or more in a minute" in PLAIN


def test_the_developers_page_leads_to_it() -> None:
    """DEVELOPERS.md links the contract."""
    assert "(engine/CONTRACT.md)" in (ROOT / "DEVELOPERS.md").read_text("utf-8")
