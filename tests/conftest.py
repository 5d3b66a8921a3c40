"""Guards for every test."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from hypothesis import settings

# How long an example takes is the machine's business, unless a test says that it matters.
settings.register_profile("any machine", deadline=None)
settings.load_profile("any machine")


@pytest.fixture(autouse=True, scope="session")
def no_sessions_of_the_user(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What a test watches is logged in a folder of its own, not among the user's evenings."""
    before = os.environ.get("XDG_DATA_HOME")
    os.environ["XDG_DATA_HOME"] = str(tmp_path_factory.mktemp("data"))
    yield
    if before is None:
        del os.environ["XDG_DATA_HOME"]
    else:
        os.environ["XDG_DATA_HOME"] = before
