"""Dataclasses to JSON and back."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.alarms.book_checkpoint import AlarmCheckpoint, BookCheckpoint, RecordCheckpoint
from engine.model import dataclass_json
from engine.model.commands import Open
from engine.model.messages import Incident
from engine.session.checkpoint import Checkpoint
from engine.session.engines import Running

SOME = st.one_of(
    *(
        st.from_type(kind)
        for kind in (
            Open,
            RecordCheckpoint,
            Incident,
            AlarmCheckpoint,
            BookCheckpoint,
            Checkpoint,
            Running,
        )
    )
)


@given(SOME)
def test_what_was_written_comes_back(value: object) -> None:
    """Any dataclass that is kept comes back equal, and as JSON text twice the same."""
    text = dataclass_json.dumps(value)
    back = dataclass_json.loads(type(value), text)
    assert dataclass_json.dumps(back) == text
    assert type(back) is type(value)


@given(st.text() | st.binary().map(repr))
def test_other_text_is_refused(text: str) -> None:
    """Text that is no such dataclass is a ValueError, never anything else."""
    with pytest.raises(ValueError, match="no Running"):
        dataclass_json.loads(Running, text)


@pytest.mark.parametrize(
    "text",
    [
        '{"path":1,"key":"","pid":1,"request":{},"source":"","live":false}',
        '{"path":"","key":"","pid":"1","request":{},"source":"","live":false}',
        '{"path":"","key":"","pid":1,"request":[],"source":"","live":false}',
        '{"path":"","key":"","pid":1,"request":{},"more":1}',
        "[]",
        "[" * 5000,
    ],
)
def test_wrong_types_are_refused(text: str) -> None:
    """A number for a text, a list for an object, a field too many: all are refused."""
    with pytest.raises(ValueError, match="no Running"):
        dataclass_json.loads(Running, text)
