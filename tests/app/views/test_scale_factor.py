"""The desktop's scale factor: at 100 to 250 % of a large and a small screen nothing is cut off."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest


@pytest.mark.parametrize("screen", [(2560, 1440), (1440, 900)], ids=lambda s: f"{s[0]}x{s[1]}")
@pytest.mark.parametrize("percent", [100, 150, 200, 250])
def test_nothing_is_cut_off(percent: int, screen: tuple[int, int], tmp_path: Path) -> None:
    """Every page, filling the screen, in a process that starts at that scale.

    A small screen at a large scale has too little room: all is drawn as large as it allows.
    """
    width, height = screen
    screens = [{"name": "one", "x": 0, "y": 0, "width": width, "height": height}]
    (tmp_path / "screens.json").write_text(json.dumps({"screens": screens}))
    platform = f"offscreen:configfile={tmp_path / 'screens.json'}"
    scaled = {**os.environ, "QT_SCALE_FACTOR": str(percent / 100), "QT_QPA_PLATFORM": platform}
    command = [sys.executable, "-m", "tests.support.qt.scaled"]
    found = subprocess.run(command, capture_output=True, text=True, env=scaled, check=False)
    assert found.returncode == 0, found.stdout + found.stderr
