"""Codes, phones, and how wrong codes are slowed down."""

from __future__ import annotations

import base64

import pytest

from app.page.access import ACTS, ACTS_S, FREE_TRIES, MOST_ADDRESSES, MOST_PHONES, Access


class Clock:
    """Seconds that a test moves."""

    def __init__(self) -> None:
        self.now = 50.0

    def __call__(self) -> float:
        """The time."""
        return self.now


@pytest.fixture
def clock() -> Clock:
    """A clock that stands still."""
    return Clock()


@pytest.fixture
def access(clock: Clock) -> Access:
    """One watch's access."""
    return Access(clock)


def test_the_code_has_128_bits(clock: Clock) -> None:
    """Sixteen random bytes; no two alike."""
    codes = {Access(clock).code for _ in range(50)}
    assert len(codes) == 50
    assert {len(base64.urlsafe_b64decode(code + "==")) for code in codes} == {16}


def test_the_right_code_lets_a_phone_in(access: Access) -> None:
    """It gets a token of its own, which is not the code."""
    token = access.enter(access.code, "10.0.0.7")
    assert token not in (None, access.code)
    assert access.phone(token or "") is not None
    assert access.phone("") is None
    assert access.phone("é\ud800") is None


@pytest.mark.parametrize("code", ["", "x", "é", "\ud800", "A" * 5000])
def test_a_wrong_code_lets_nobody_in(access: Access, code: str) -> None:
    """Whatever is typed."""
    assert access.enter(code, "10.0.0.7") is None
    assert access.enter(access.code[:-1], "10.0.0.7") is None
    assert access.enter(access.code + "A", "10.0.0.7") is None
    assert access.phones == ()


def test_a_new_code_throws_everybody_out(access: Access) -> None:
    """Old tokens and the old code are worth nothing."""
    old, token = access.code, access.enter(access.code, "a")
    access.renew()
    assert access.phone(token or "") is None
    assert access.enter(old, "a") is None


def test_wrong_codes_slow_down(access: Access, clock: Clock) -> None:
    """After five an address waits, twice as long each time; others do not; it is forgiven."""
    waits = []
    for _ in range(FREE_TRIES + 3):
        clock.now += access.wait_s("10.0.0.7")
        access.enter("wrong", "10.0.0.7")
        waits.append(access.wait_s("10.0.0.7"))
    assert waits == [0.0] * (FREE_TRIES - 1) + [1.0, 2.0, 4.0, 8.0]
    assert access.wait_s("10.0.0.8") == 0.0
    clock.now += 61.0
    assert access.wait_s("10.0.0.7") == 0.0


def test_many_addresses_cost_bounded_memory(access: Access) -> None:
    """The address that tried longest ago is forgotten first."""
    for number in range(MOST_ADDRESSES + 10):
        access.enter("wrong", str(number))
    assert len(access._tries) == MOST_ADDRESSES


def test_there_is_room_for_so_many_phones(access: Access) -> None:
    """One that looks keeps its place; one that looks no more makes room."""
    for _ in range(MOST_PHONES):
        token = access.enter(access.code, "a")
        phone = access.phone(token or "")
        assert phone is not None
        phone.streams = 1
    assert access.enter(access.code, "a") is None
    access.phones[0].streams = 0
    assert access.enter(access.code, "a") is not None
    assert len(access.phones) == MOST_PHONES


def test_buttons_are_bounded(access: Access, clock: Clock) -> None:
    """A phone may press ten in ten seconds."""
    phone = access.phone(access.enter(access.code, "a") or "")
    assert phone is not None
    assert [access.may_act(phone) for _ in range(ACTS + 2)] == [True] * ACTS + [False] * 2
    clock.now += ACTS_S
    assert access.may_act(phone)
