"""Whether a window can be opened here; without Qt."""

from __future__ import annotations

import os
import sys


def available() -> bool:
    """There is a screen to open a window on."""
    if os.environ.get("QT_QPA_PLATFORM"):
        return True
    if sys.platform.startswith("linux"):
        return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
    return True


def why_not() -> str:
    """Why no window opens, for the user."""
    return "no display here (neither DISPLAY nor WAYLAND_DISPLAY is set)"
