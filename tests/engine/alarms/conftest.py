"""A crew for the tests of alarms."""

from __future__ import annotations

import pytest

from engine.model.messages import Kind, PackLevel
from engine.model.tracks import Track
from tests.support.alarm_desk import Desk


@pytest.fixture
def desk() -> Desk:
    """A performer with two packs, one with a single pack, a crowd and a boom."""
    return Desk(
        Track(1, who="foreman", level=PackLevel.MAIN),
        Track(2, who="foreman", level=PackLevel.SAFETY),
        Track(3, who="rigger"),
        Track(4, kind=Kind.AMBIENCE),
        Track(5, kind=Kind.BOOM),
    )
