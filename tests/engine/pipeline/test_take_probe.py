"""Code is found on whatever track it lies, and in nothing else."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from engine.model.messages import Kind
from engine.model.tracks import plan_for
from engine.pipeline.scan import scan_source
from engine.pipeline.take_probe import probe_take
from engine.plan.agreement import with_code
from engine.sources import sound_file
from engine.sources.take import open_take
from tests.support.signals import noise, sine
from tests.support.timecode_signals import code

RATE = 48_000


def take(folder: Path, sound: np.ndarray) -> Path:
    """A file of noise, that sound and a tone."""
    length = len(sound)
    speech = noise(-40.0, length / RATE, RATE)[:length, 0]
    tone = sine(-10.0, length / RATE, RATE, hz=1_000.0)[:length, 0]
    path = folder / "take.wav"
    soundfile.write(path, np.column_stack([speech, sound, tone]), RATE, "PCM_24")
    return path


@pytest.mark.parametrize("rate", ["23.976", "25", "29.97df", "30"])
def test_code_is_found_and_a_tone_is_not(tmp_path: Path, rate: str) -> None:
    """The one track with code, at any rate."""
    path = take(tmp_path, code(rate, "10:00:00:00", 200, RATE))
    assert probe_take(path).code_channels == (2,)


def test_code_that_begins_late_is_found(tmp_path: Path) -> None:
    """Record-run code: nothing at the take's start."""
    late = np.concatenate([np.zeros(5 * RATE), code("25", "10:00:00:00", 250, RATE)])
    assert probe_take(take(tmp_path, late)).code_channels == (2,)


def test_a_file_says_once_what_it_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each look at another place reads sound alone."""
    path = take(tmp_path, np.zeros(12 * RATE))
    asked: list[int] = []
    read = sound_file.read_metadata
    monkeypatch.setattr(sound_file, "read_metadata", lambda *given: asked.append(1) or read(*given))
    probe_take(path)
    assert len(asked) == 1


def test_code_that_is_not_planned_raises_no_alarm(tmp_path: Path) -> None:
    """Nothing is said of the track, and the labels are those of the code."""
    path = take(tmp_path, code("25", "10:00:00:00", 500, RATE))
    info = probe_take(path)
    plan, (line,) = with_code(plan_for(["a", "b", "c"]), info.code_channels)
    result = scan_source(open_take(path), plan)
    assert result.plan.tracks[1].kind is Kind.TIMECODE
    assert not [i for i in result.incidents if i.track == 2]
    assert result.timecode(1.0) == "10:00:01:00"
    assert "carries timecode" in line
