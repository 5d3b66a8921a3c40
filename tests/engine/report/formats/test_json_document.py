"""The JSON form."""

from __future__ import annotations

import json

import pytest

from engine.model.messages import Fault
from engine.report.content.report_data import Break, Done, Note
from engine.report.content.sections import SEEN, report
from engine.report.formats.json_document import document
from tests.support.sample_report import incident, section


def test_it_is_strict_json_with_everything_in_it() -> None:
    """No NaN, no infinity; incidents with timecode, cover and what was done."""
    made = section(
        [incident(), incident(2, None, fault=Fault.INPUT_LOST, tracks=(1, 2, 3), onset_s=120.0)],
        done={1: (Done(110.0, SEEN, "assistant"),)},
        breaks=(Break(1.0, 2.0, "lost"),),
        marks=(Note(3.0, "slate"),),
        crew=True,
    )
    value = json.loads(json.dumps(document(report([made], "made")), allow_nan=False))
    (told,) = value["sections"]
    assert (value["kind"], value["schema"]) == ("report", 2)
    assert told["breaks"][0]["timecode_in"] == "21:00:01:00"
    assert told["alarms"]["answer_median_s"] == 9.5
    first, second = told["incidents"]
    assert (first["in_s"], first["out_s"], first["timecode_in"]) == (100.0, 130.0, "21:01:40:00")
    assert first["done"][0]["timecode"] == "21:01:50:00"
    assert [s["track"] for s in first["use_instead"]] == [2, None]
    assert (second["ended"], second["tracks"]) == (True, [1, 2, 3])
    assert told["who"][0]["covered_fraction"] == pytest.approx(1.0 - 10.0 / 600.0)


def test_the_heading_is_what_the_plans_agree_on() -> None:
    """One plan: its heading. Takes of different productions: none is put over all."""
    one = section()
    other = section(plan=type(one.plan)(one.plan.tracks, "Other"))
    assert document(report([one, one], ""))["heading"] == {"production": "The new bell"}
    assert document(report([one, other], ""))["heading"] == {}
    assert document(report([one, other], ""))["title"] == "2 takes"
