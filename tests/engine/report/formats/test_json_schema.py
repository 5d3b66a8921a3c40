"""Every document is valid by its published schema, checked by the library jsonschema."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from jsonschema import Draft202012Validator

from app.cli import watch_json
from app.cli.main import main
from app.report.take_scan import scan_one
from app.report.write import Files, scanned_section, write_report
from engine.pipeline.scan_document import Failure
from engine.report.formats import json_document, json_schema
from engine.report.formats.json_schema import SCHEMAS, schema
from tests.support.sample_report import incident
from tests.support.signals import noise
from tests.support.timecode_signals import code

RATE = 48_000


@pytest.fixture
def take(tmp_path: Path) -> Path:
    """Eight seconds of two tracks and code; the second is muted for four."""
    sound = noise(-30.0, 8.0, RATE, tracks=2)
    sound[2 * RATE : 6 * RATE, 1] = 0.0
    label = code("25", "10:00:00:00", 220, RATE, user_bits=0x0026_0601)[: len(sound)]
    path = tmp_path / "take.wav"
    soundfile.write(path, np.column_stack([sound, label]), RATE, "PCM_24")
    return path


def valid(document: Any, name: str) -> Any:
    """The document, after the library has passed it."""
    Draft202012Validator(schema(name)).validate(document)
    return document


@pytest.mark.parametrize("name", SCHEMAS)
def test_each_schema_is_one(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """By the draft's own meta-schema, as the command prints it."""
    assert main(["schema", name]) == 0
    Draft202012Validator.check_schema(json.loads(capsys.readouterr().out))


def test_scans_are_valid(take: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One take, several with one that fails, none at all, and lines."""
    main(["scan", str(take), "--json"])
    one = valid(json.loads(capsys.readouterr().out), "scan")
    assert one["take"]["timecode_from"] == "ltc"
    assert one["take"]["user_bits"]["hex"] == "00260601"
    missing = str(tmp_path / "none.wav")
    assert main(["scan", str(take), missing, str(take), "--json"]) == 2
    several = valid(json.loads(capsys.readouterr().out), "scan")
    assert [take["path"] for take in several["failed"]] == [missing]
    assert len(several["takes"]) == 2
    main(["scan", missing, "--json"])
    assert valid(json.loads(capsys.readouterr().out), "scan")["takes"] == []
    main(["scan", str(take), "--json-lines"])
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    for line in lines:
        valid(line, "scan")
    assert [line["kind"] for line in lines] == ["incident"] * len(one["incidents"]) + ["take"]
    told = [{k: v for k, v in line.items() if k in one["incidents"][0]} for line in lines[:-1]]
    assert told == one["incidents"]


def test_reports_are_valid(take: Path, tmp_path: Path) -> None:
    """The JSON beside the others, with what could not be read, which the page says first."""
    result, path = scan_one(str(take), None, lambda _line: None)
    files = Files(html=tmp_path / "report.html", json=tmp_path / "report.json")
    failed = Failure("none.wav", "none.wav: no such file")
    write_report([scanned_section(result, path)], files, failures=[failed])
    document = valid(json.loads((tmp_path / "report.json").read_text("utf-8")), "report")
    assert document["failed"] == [failed.as_json()]
    page = (tmp_path / "report.html").read_text("utf-8").split("<main>")[1]
    assert page.index("none.wav") < page.index("take.wav")


def test_a_watch_tells_valid_lines(take: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """From its begin to its end, each change as it happens."""
    assert main(["replay", str(take), "--speed", "20", "--json-lines"]) == 1
    lines = [valid(json.loads(line), "watch") for line in capsys.readouterr().out.splitlines()]
    assert lines[0]["kind"] == "watch"
    assert lines[-1]["kind"] == "end"
    events = [line["event"] for line in lines if line["kind"] == "event"]
    assert events[:1] == ["raised"]
    assert {"escalated", "cleared"} <= set(events)


def test_listings_are_valid(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Sessions, and a plan without and with mistakes."""
    main(["sessions", "--json"])
    valid(json.loads(capsys.readouterr().out), "sessions")
    plan = tmp_path / "plan.toml"
    plan.write_text("[[track]]\ninput = 1\n")
    assert main(["plan", "check", str(plan), "--json"]) == 0
    assert valid(json.loads(capsys.readouterr().out), "plan-check")["mistakes"] == []
    plan.write_text("[[track]]\ninput = 0\n")
    assert main(["plan", "check", str(plan), "--json"]) == 2
    (mistake,) = valid(json.loads(capsys.readouterr().out), "plan-check")["mistakes"]
    assert mistake["line"] == 2


def test_versions_are_those_of_the_documents() -> None:
    """Schema and document state one version."""
    from engine.pipeline import scan_document

    assert json_schema.SCAN == scan_document.SCHEMA
    assert json_schema.REPORT == json_document.SCHEMA
    assert json_schema.WATCH == watch_json.SCHEMA
    assert watch_json.incident_json(incident())["onset_s"] == 100.0
