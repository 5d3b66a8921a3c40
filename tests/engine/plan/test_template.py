"""A new plan is one that loads."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.model.safe_text import is_harmless
from engine.plan.keys import FRAME_RATES, LONGEST_TEXT
from engine.plan.load import load_plan, new_plan

# --- properties ---

TEXTS = st.text(max_size=30)


@given(st.lists(TEXTS, min_size=1, max_size=8), TEXTS, st.sampled_from(FRAME_RATES))
def test_a_new_plan_loads_without_mistakes(tmp_path_factory, names, title, frame_rate):
    """Whatever names a take gives, the plan written for it loads and holds them."""
    path = tmp_path_factory.getbasetemp() / "new.toml"
    path.write_bytes(new_plan(names, title, frame_rate).encode())
    plan = load_plan(path, inputs=len(names))
    assert plan.frame_rate == frame_rate
    assert [track.input for track in plan.tracks] == list(range(1, len(names) + 1))
    for text, loaded in zip(
        [title, *names], [plan.title, *(t.name for t in plan.tracks)], strict=True
    ):
        clean = "".join(c if is_harmless(c) else " " for c in unicodedata.normalize("NFC", text))
        assert loaded == clean.strip()


def test_a_new_plan_shortens_what_a_plan_refuses(write):
    """A name too long for a plan is cut and says so; no inputs or an odd rate are refused."""
    name = load_plan(write(new_plan(['"\\' * LONGEST_TEXT]))).tracks[0].name
    assert len(name) == LONGEST_TEXT
    assert name.endswith("…")
    with pytest.raises(ValueError, match="at least one input"):
        new_plan([])
    with pytest.raises(ValueError, match=r"allowed: 23\.976"):
        new_plan(["Boom"], frame_rate="26")
