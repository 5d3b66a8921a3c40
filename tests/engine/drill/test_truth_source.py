"""What a source says of the faults that it put in."""

from __future__ import annotations

import subprocess
import sys

import numpy as np

from engine.drill.drill_source import DrillSource
from engine.drill.truth_source import TruthSource, truths_of
from engine.sources.synthetic import ArraySource
from tests.support.checkout import ROOT

RATE = 8000
CLEAN = np.zeros((RATE, 2), dtype=np.float32)


def test_only_a_drill_has_truths() -> None:
    """A source without faults says nothing, nor does a watch without any source."""
    assert truths_of(ArraySource(CLEAN, RATE)) == []
    assert truths_of(None) == []
    drill = DrillSource(ArraySource(CLEAN, RATE), [], lambda *_: CLEAN, 1)
    assert isinstance(drill, TruthSource)
    assert truths_of(drill) == []


def test_asking_loads_no_faults() -> None:
    """A watch that is no drill starts without what puts faults in."""
    code = "import sys, engine.runtime.runner; print('engine.inject.registry' in sys.modules)"
    said = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    assert said.stdout.strip() == "False"
