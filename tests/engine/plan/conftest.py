"""What tests of the plan share."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture
def write(tmp_path: Path):
    """Write a plan, text or bytes, and return its path."""

    def write(content: str | bytes) -> Path:
        path = tmp_path / "plan.toml"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write
