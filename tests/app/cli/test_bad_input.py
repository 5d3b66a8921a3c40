"""Spoiled takes and plans on the program's real ways in; the robustness benchmark tries more."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.benchmarks.robustness.cases import chance_of, plan_case, take_case
from tests.benchmarks.robustness.entries import try_plan, try_take
from tests.benchmarks.robustness.guard import Guard

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="pipes and names that are no text")

numbers = st.integers(0, 2**32)
modest = settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
GUARD = Guard()


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The only folder that may be written to; homes and working folder lie elsewhere."""
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    for name in ("HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(name, str(tmp_path / "elsewhere"))
    return tmp_path / "case"


def emptied(folder: Path) -> Path:
    """The same, with nothing in it."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    return folder


@modest
@given(numbers)
def test_a_spoiled_take_is_read_or_refused_in_plain_words(folder: Path, number: int) -> None:
    """Scan, plan new, replay and report: no traceback, no warning, nothing written elsewhere."""
    take = take_case(chance_of(0, number), emptied(folder))
    with GUARD.watching(folder):
        try_take(take, folder, number)
    assert GUARD.seen == []


@modest
@given(numbers)
def test_a_spoiled_plan_is_gone_by_or_refused_in_plain_words(folder: Path, number: int) -> None:
    """Plan check, scan, replay, a swap of inputs and a change of plan in mid-watch: the same."""
    plan, take = plan_case(chance_of(0, number), emptied(folder))
    with GUARD.watching(folder):
        try_plan(plan, take, folder, number)
    assert GUARD.seen == []
