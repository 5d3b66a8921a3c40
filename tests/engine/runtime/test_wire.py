"""What is sent comes out as it went in; foreign bytes are an error."""

from __future__ import annotations

import math
import typing
from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest
from hypothesis import given, reject
from hypothesis import strategies as st

from engine.model import commands
from engine.model.client_id import ClientId
from engine.model.commands import Acknowledge, Mark, Open, Shelve, Unacknowledge
from engine.runtime import wire
from engine.runtime.wire import (
    Alive,
    Elsewhere,
    Failed,
    Job,
    Message,
    Progress,
    WireError,
    pack,
    pack_message,
    unpack,
    unpack_message,
)
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()
SHOT = fake_client.snapshot(PLAN)
KINDS = (ClientId, *typing.get_args(commands.Command), Alive, Job)


@given(data=st.data())
def test_every_word_of_a_window_comes_out_as_it_went_in(data: st.DataObject) -> None:
    """Each command of any content, and who speaks; also those that have the same fields."""
    said = data.draw(st.sampled_from(KINDS).flatmap(st.from_type))
    try:
        sent = pack(said)
    except OverflowError:
        reject()  # a number of more than 64 bits; the window leaves it out
    back = unpack(sent)
    assert back == said or repr(back) == repr(said)  # NaN is like nothing, not even itself


def test_commands_with_the_same_fields_are_told_apart() -> None:
    """By name, not by shape."""
    assert unpack(pack(Acknowledge(3))) == Acknowledge(3)
    assert unpack(pack(Unacknowledge(3))) == Unacknowledge(3)
    assert unpack(pack(Shelve(3, math.inf))) == Shelve(3, math.inf)


@pytest.mark.parametrize("state", [Failed("x"), Progress("y"), Elsewhere("z"), Alive(2.5)])
def test_every_state_of_an_engine_comes_out_as_it_went_in(state: wire.State) -> None:
    """With what is watched, or before it began."""
    for watch in (None, fake_client.watch(PLAN)):
        assert unpack_message(pack_message(Message(watch, state))) == Message(watch, state)


def equal(one: object, other: object) -> bool:
    """In every field; arrays element by element, with their type."""
    if isinstance(one, np.ndarray):
        return one.dtype == other.dtype and np.array_equal(one, other, equal_nan=True)
    if is_dataclass(one):
        return type(one) is type(other) and all(
            equal(getattr(one, f.name), getattr(other, f.name)) for f in fields(one)
        )
    if isinstance(one, tuple):
        return len(one) == len(other) and all(map(equal, one, other))
    return bool(one == other) or one is other


def test_a_snapshot_comes_out_as_it_went_in() -> None:
    """Levels with NaN and infinity, alarms, strips, notes: all of it, and it may be written to."""
    levels = SHOT.level_dbfs.copy()
    levels[:2] = np.nan, -np.inf
    shot = replace(SHOT, level_dbfs=levels)
    message = unpack_message(pack_message(Message(fake_client.watch(PLAN), shot)))
    assert equal(message.state, shot)
    message.state.level_dbfs[0] = 1.0


def test_the_watch_is_read_once_for_as_long_as_it_stays_the_same() -> None:
    """Snapshots of one watch bring the same object, another plan brings another one."""
    shot = fake_client.snapshot(PLAN)
    watch, other = fake_client.watch(PLAN), fake_client.watch(PLAN, live=False)
    sent = [watch, watch, other, watch]
    first, again, changed, back = (
        unpack_message(pack_message(Message(one, shot))).watch for one in sent
    )
    assert first is again is back
    assert (first, changed) == (watch, other)


@given(data=st.binary(max_size=300))
def test_foreign_bytes_are_one_kind_of_error(data: bytes) -> None:
    """From either side."""
    for read in (unpack, unpack_message):
        with pytest.raises(WireError) as caught:
            read(data)
        assert len(str(caught.value).splitlines()) == 1


@given(at=st.integers(0, 10_000), byte=st.integers(0, 255))
def test_a_damaged_snapshot_is_read_or_refused(at: int, byte: int) -> None:
    """One byte changed anywhere: a message of the declared form, or an error."""
    data = bytearray(pack_message(Message(None, SHOT)))
    data[at % len(data)] = byte
    try:
        message = unpack_message(bytes(data))
    except WireError:
        return
    assert isinstance(message, Message)


def test_what_only_a_window_says_is_not_taken_from_an_engine() -> None:
    """And the other way round nothing is made of a foreign name."""
    with pytest.raises(WireError, match="nothing that an engine says"):
        unpack_message(wire._encode((None, "Mark", Mark("x"))))
    with pytest.raises(WireError, match="nothing that is sent"):
        unpack(wire._encode(("Popen", ["ls"])))


def test_the_schema_changes_with_any_field(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two versions that would misunderstand each other have different ones."""
    before = wire._schema()
    assert before == wire.SCHEMA
    monkeypatch.setitem(wire._KINDS, "Open", Open)
    assert wire._schema() == before  # it is in Job already
    monkeypatch.delitem(wire._KINDS, "Failed")
    assert wire._schema() != before
