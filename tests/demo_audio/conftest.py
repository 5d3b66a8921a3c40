"""The demo take and its healthy twin, rendered once for all tests here."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.rendered_demo import Rendered, read_back


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the takes of this test run are kept."""
    return tmp_path_factory.mktemp("demo")


@pytest.fixture(scope="session")
def demo(demo_folder: Path) -> Rendered:
    """The take with its faults."""
    return read_back(demo_folder, healthy=False)


@pytest.fixture(scope="session")
def healthy(demo_folder: Path) -> Rendered:
    """The same evening with no faults."""
    return read_back(demo_folder, healthy=True)
