"""What tests of the window's end of the connection share."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from engine.runtime import client as client_module
from tests.support.played_engine import FakeStarter


@pytest.fixture
def starter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[FakeStarter]:
    """No real process is started, no real session touched."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    made = FakeStarter()
    monkeypatch.setattr(client_module, "Starter", lambda: made)
    yield made
    for engine in made.engines:
        engine.dies()
