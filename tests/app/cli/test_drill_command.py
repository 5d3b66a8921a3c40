"""`trackwarden drill` as people call it, with the real engine."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from app.cli.main import main

RATE = 48_000


@pytest.fixture
def take(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Fifty seconds of two quiet tracks; sessions of this test in a folder of its own."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    rng = np.random.default_rng(3)
    path = tmp_path / "take.wav"
    sf.write(path, 0.003 * rng.standard_normal((50 * RATE, 2)), RATE, subtype="PCM_16")
    return path


def test_a_drill_in_the_terminal_scores_trackwarden(
    take: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """It ends with what was put in and what was found of it; truth is in the log; exit 0."""
    arguments = ["drill", str(take), "--console", "--speed", "20", "--level", "easy", "--seed", "4"]
    assert main(arguments) == 0
    out, err = capfd.readouterr()
    assert out.startswith("DRILL · watching take.wav")
    assert "Drill easy, seed 4: take.wav" in out
    assert "trackwarden itself found 1 of 1, named 1 correctly" in out
    assert f"trackwarden drill {take} --seed 4 --level easy" in err
    (folder,) = (tmp_path / "data" / "trackwarden" / "sessions").iterdir()
    with closing(sqlite3.connect(folder / "session.sqlite")) as log:
        truths = log.execute("SELECT onset_s, end_s, severity FROM drill_fault").fetchall()
    assert len(truths) == 1
    assert 12.0 <= truths[0][0] < truths[0][1] <= 50.0
    page = (folder / "drill.html").read_text(encoding="utf-8")
    assert "<svg" in page
    assert "Drill easy, seed 4" in page
    assert not (tmp_path / "data" / "trackwarden" / "drills.jsonl").exists()  # nobody was drilled


def test_a_take_too_short_is_one_line(
    tmp_path: Path, take: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """No room for calm and a fault: one line, exit 2."""
    path = tmp_path / "short.wav"
    sf.write(path, np.zeros((5 * RATE, 1)), RATE)
    assert main(["drill", str(path), "--console"]) == 2
    err = capfd.readouterr().err
    assert "a drill needs 40 s" in err
    assert "Traceback" not in err


@pytest.mark.parametrize("seed", ["-1", "x", "1.5", "1234567890"])
def test_a_seed_is_a_whole_number(seed: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Anything else is refused with what is allowed."""
    with pytest.raises(SystemExit) as refused:
        main(["drill", "demo", f"--seed={seed}"])
    assert refused.value.code == 2
    assert "whole number" in capsys.readouterr().err


def test_help_has_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    """`drill --help` shows a command to type."""
    with pytest.raises(SystemExit):
        main(["drill", "--help"])
    assert "example: trackwarden drill demo" in " ".join(capsys.readouterr().out.split())


def test_the_report_of_a_drill_says_so(take: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Nobody can take its faults for those of a night."""
    assert main(["drill", str(take), "--console", "--speed", "40", "--seed", "9"]) == 0
    page = take.with_name("night.html")
    assert main(["report", "20", "--html", str(page)]) == 0
    assert "seed 9: the faults were put in" in page.read_text(encoding="utf-8")
    capfd.readouterr()
