"""All carts from their messages, whatever the network does to them."""

from __future__ import annotations

import json
import random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.fleet.all_carts import MOST_ALARMS, MOST_RUNS, SILENT_S, AllCarts


def state(run: str, seq: int, **more: Any) -> bytes:
    """A cart's state."""
    base = {"schema": 1, "run": run, "seq": seq, "alive": True, "now_s": 100.0, "title": "Bell"}
    return json.dumps(base | {"tracks": 12, "condition": "watching"} | more).encode()


def alarm(run: str, seq: int, **more: Any) -> bytes:
    """One alarm."""
    base = {"schema": 1, "run": run, "seq": seq, "numbers": "3", "name": "Rigger"}
    return json.dumps(base | {"fault": "muted", "severity": "red", "since_s": 90.0} | more).encode()


def test_worst_first_across_carts() -> None:
    """Gone carts, then no cover, then reds; alarms in one list with cart and age."""
    carts = AllCarts("site")
    for n, name in enumerate(("calm", "red", "bare", "gone")):
        carts.receive(f"site/{name}/state", state(f"r{n}", 1), 0.0)
    carts.receive("site/red/alarm/r1-1", alarm("r1", 2), 0.0)
    carts.receive("site/bare/alarm/r2-1", alarm("r2", 2, uncovered=True, since_s=99.0), 0.0)
    carts.receive("site/gone/state", b'{"schema":1,"run":"r3","seq":0,"alive":false}', 0.5)
    assert [c.name for c in carts.carts(1.0)] == ["gone", "bare", "red", "calm"]
    assert carts.carts(1.0)[0].problem == "watch gone"
    assert [(a.cart, a.uncovered, a.age_s) for a in carts.alarms(2.0)] == [
        ("bare", True, 3.0),
        ("red", False, 12.0),
    ]


def test_a_cart_that_falls_silent_is_red_by_itself_and_comes_back() -> None:
    """Without a message for five seconds."""
    carts = AllCarts("site")
    carts.receive("site/a/state", state("r", 1), 0.0)
    assert carts.carts(SILENT_S)[0].problem == ""
    assert carts.carts(SILENT_S + 1.5)[0].problem == "silent"
    carts.receive("site/a/state", state("r", 2), 7.0)
    assert carts.carts(7.5)[0].problem == ""


def test_a_will_does_not_outlast_a_return() -> None:
    """A cart whose network was cut and came back is not gone."""
    carts = AllCarts("site")
    carts.receive("site/a/state", state("r", 5), 0.0)
    carts.receive("site/a/state", b'{"schema":1,"run":"r","seq":0,"alive":false}', 1.0)
    assert carts.carts(1.0)[0].problem == "watch gone"
    carts.receive("site/a/state", state("r", 6), 2.0)
    assert carts.carts(2.0)[0].problem == ""


def test_a_new_run_takes_the_place_of_a_dead_one_and_of_its_alarms() -> None:
    """What an earlier run left retained says nothing."""
    carts = AllCarts("site")
    carts.receive("site/a/alarm/old-1", alarm("old", 9), 0.0, retained=True)
    carts.receive("site/a/state", state("old", 8), 0.0, retained=True)
    for n in range(10):
        carts.receive("site/a/state", state("new", n + 1), float(n))
    (one,) = carts.carts(9.0)
    assert (one.run, one.problem, one.red) == ("new", "", 0)
    assert carts.alarms(9.0) == []


def test_two_carts_with_one_name_are_two_and_said_so() -> None:
    """Neither hides the other's alarms."""
    carts = AllCarts("site")
    for n in range(5):
        carts.receive("site/a/state", state("one", n + 1), float(n))
        carts.receive("site/a/state", state("two", n + 1), float(n))
    carts.receive("site/a/alarm/two-1", alarm("two", 9), 4.0)
    assert [c.problem for c in carts.carts(4.0)] == ["two carts have this name"] * 2
    assert len(carts.alarms(4.0)) == 1


def test_clocks_that_differ_do_no_harm() -> None:
    """Ages are of the cart's own stream: an hour between two machines changes nothing."""
    ages = []
    for offset in (0.0, 3600.0):
        carts = AllCarts("site")
        carts.receive("site/a/state", state("r", 1, now_s=100.0 + offset), 50.0)
        carts.receive("site/a/alarm/r-1", alarm("r", 2, since_s=90.0 + offset), 50.0)
        ages.append(carts.alarms(51.0)[0].age_s)
    assert ages == [11.0, 11.0]


@given(st.integers(0, 10_000))
def test_repeated_and_reordered_messages_end_right(seed: int) -> None:
    """Whatever comes twice or late, the newest of each topic wins."""
    rng = random.Random(seed)
    sent = [("site/a/state", state("r", n, red=n)) for n in range(1, 40, 4)]
    sent += [(f"site/a/alarm/r-{n % 3}", alarm("r", n, name=f"name {n}")) for n in range(2, 40, 3)]
    mixed = sent + rng.choices(sent, k=20)
    rng.shuffle(mixed)
    carts, straight = AllCarts("site"), AllCarts("site")
    for topic, payload in mixed:
        carts.receive(topic, payload, 1.0)
    for topic, payload in sent:
        straight.receive(topic, payload, 1.0)
    assert carts.alarms(2.0) == straight.alarms(2.0)
    assert carts.carts(2.0) == straight.carts(2.0)


def test_a_late_message_does_not_bring_back_what_is_over() -> None:
    """After it was taken away an older message of the same alarm is ignored, a newer one counts."""
    carts = AllCarts("site")
    carts.receive("site/a/state", state("r", 1), 0.0)
    carts.receive("site/a/alarm/r-1", alarm("r", 5), 0.0)
    carts.receive("site/a/alarm/r-1", b"", 0.0)
    carts.receive("site/a/alarm/r-1", alarm("r", 4), 0.0)
    carts.receive("site/a/alarm/r-1", alarm("r", 5), 0.0)
    assert carts.alarms(0.0) == []
    carts.receive("site/a/alarm/r-1", alarm("r", 6), 0.0)
    assert len(carts.alarms(0.0)) == 1


@pytest.mark.parametrize(
    "payload",
    [
        *(b"", b"{", b"[]", b"null", b"[" * 5000, b"\xff", b'{"schema":2,"run":"r","seq":1}'),
        *(b'{"schema":1}', b'{"schema":1,"run":5,"seq":1}', b'{"schema":1,"run":"r","seq":true}'),
        b'{"schema":1,"run":"r","seq":1,"now_s":"x","title":{},"tracks":1e999,"severity":[]}',
        b"x" * 300_000,
    ],
)
def test_foreign_messages_do_no_harm(payload: bytes) -> None:
    """Anybody may publish anything."""
    carts = AllCarts("site")
    for topic in ("site/a/state", "site/a/alarm/r-1", "site/a/alarm", "other/a/state", "site", ""):
        carts.receive(topic, payload, 0.0)
    carts.carts(0.0)
    carts.alarms(0.0)


def test_names_cannot_steer_a_terminal() -> None:
    """Control characters come out as question marks."""
    carts = AllCarts("site")
    carts.receive("site/a\x1b[2J/state", state("r", 1, title="\x1b]0;x\x07"), 0.0)
    (one,) = carts.carts(0.0)
    assert "\x1b" not in one.name + one.title


def test_memory_is_bounded() -> None:
    """So many carts, so many alarms of each."""
    carts = AllCarts("site")
    for n in range(MOST_RUNS + 50):
        carts.receive(f"site/c{n}/state", state("r", 1), float(n))
    assert len(carts._runs) == MOST_RUNS
    for n in range(MOST_ALARMS + 50):
        carts.receive(f"site/c{MOST_RUNS}/alarm/r-{n}", alarm("r", n + 2), 600.0)
    assert max(len(run.alarms) for run in carts._runs.values()) == MOST_ALARMS


def test_what_was_taken_away_without_a_broker_is_gone() -> None:
    """The state names the alarms that stand; a newer one counts before the next state comes."""
    carts = AllCarts("site")
    carts.receive("site/a/alarm/r-1", alarm("r", 2), 0.0)
    carts.receive("site/a/state", state("r", 3, alarms=["1"]), 0.0)
    carts.receive("site/a/alarm/r-2", alarm("r", 4), 0.0)
    assert len(carts.alarms(0.0)) == 2
    carts.receive("site/a/state", state("r", 5, alarms=["2"]), 1.0)
    assert [a.red for a in carts.alarms(1.0)] == [True]
