"""The desktop's scale factor: at 100 to 250 % of a 2560 × 1440 screen nothing is cut off."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

SCREEN = (2560, 1440)


@pytest.mark.parametrize("percent", [100, 150, 200, 250])
def test_nothing_is_cut_off(percent: int) -> None:
    """Every page, filling the screen, in a process that starts at that scale."""
    width, height = (round(side * 100 / percent) for side in SCREEN)
    scaled = {**os.environ, "QT_SCALE_FACTOR": str(percent / 100), "QT_QPA_PLATFORM": "offscreen"}
    command = [sys.executable, "-m", "tests.app.scaled", str(width), str(height)]
    found = subprocess.run(command, capture_output=True, text=True, env=scaled, check=False)
    assert found.returncode == 0, found.stdout + found.stderr
