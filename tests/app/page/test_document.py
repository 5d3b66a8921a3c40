"""What the page says, and the patches that keep it up to date."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from app.page.document import Condition, document, patch
from engine.model.crew_notes import CrewNotes, Stage, attend
from engine.model.messages import AlarmState
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()
WATCH = fake_client.watch(PLAN)
SNAPSHOT = fake_client.snapshot(PLAN, fake_client.tower_alarms())
WATCHING = Condition("watching")

values = st.recursive(
    st.booleans() | st.integers() | st.text(max_size=3),
    lambda inner: st.dictionaries(st.text(max_size=2), inner, max_size=4),
    max_leaves=12,
)
objects = st.dictionaries(st.text(max_size=2), values, max_size=4)


def merged(target: Any, change: Any) -> Any:
    """A JSON Merge Patch carried out, written after the pseudocode of RFC 7396, section 2."""
    if not isinstance(change, dict):
        return change
    made = dict(target) if isinstance(target, dict) else {}
    for name, value in change.items():
        if value is None:
            made.pop(name, None)
        else:
            made[name] = merged(made.get(name), value)
    return made


@given(objects, objects)
def test_a_patch_leads_from_one_document_to_the_other(before: Any, after: Any) -> None:
    """Carried out as RFC 7396 says, it gives the new document; nothing changed, nothing said."""
    assert merged(before, patch(before, after)) == after
    assert patch(after, after) == {}


def test_cards_are_those_of_the_glance_view_in_its_order() -> None:
    """No cover first, then red, then amber; number, name, fault, place and check of each."""
    made = document(WATCH, SNAPSHOT, WATCHING, drill=False, may_see=False)
    cards = sorted(made["cards"].values(), key=lambda card: card["order"])
    assert [(c["level"], c["numbers"], c["name"], c["fault"]) for c in cards] == [
        ("none", "7 + 8", "Foreman", "silent"),
        ("red", "9", "Boom scaffold", "muted"),
        ("amber", "3", "Rigger main", "clipping"),
    ]
    assert cards[0]["where"].startswith("Pack 7 chest, pack 8 small of back.")
    assert cards[2]["cover"] == "Use 4 Rigger safety meanwhile."
    assert len(cards[0]["ids"]) == 2
    seen = {a.incident.id for a in SNAPSHOT.alarms if a.state is AlarmState.ACKNOWLEDGED}
    assert [card["seen"] for card in cards] == [seen.issuperset(card["ids"]) for card in cards]


def test_what_the_crew_has_seen_is_marked() -> None:
    """An acknowledged alarm stays on the page as seen; one that is back does not."""
    first, *others = SNAPSHOT.alarms
    acknowledged = tuple(replace(a, state=AlarmState.ACKNOWLEDGED) for a in others)
    returned = replace(first, state=AlarmState.RETURNED)
    shot = replace(SNAPSHOT, alarms=(returned, *acknowledged))
    made = document(WATCH, shot, WATCHING, drill=False, may_see=False)
    assert all(card["seen"] for card in made["cards"].values())
    assert first.incident.id not in {i for c in made["cards"].values() for i in c["ids"]}


def test_who_is_on_the_way_is_said_with_the_time() -> None:
    """The assistant's name, how far they are, and since when by the cart's clock."""
    boom = next(a.incident for a in SNAPSHOT.alarms if a.incident.track == 9)
    desk = attend(CrewNotes(), boom.id, "Runner", Stage.ON_THE_WAY, SNAPSHOT.now_s)
    made = document(WATCH, replace(SNAPSHOT, desk=desk), WATCHING, drill=False, may_see=False)
    (card,) = [c for c in made["cards"].values() if c["ids"] == [boom.id]]
    assert card["help"]["stage"] == "on the way"
    assert card["help"]["text"].startswith("Runner is on the way since ")
    assert card["help"]["text"][-8:].count(":") == 2


def test_a_drill_keeps_back_what_is_wrong() -> None:
    """In a drill no word of the page names a fault or what to check."""
    plain = json.dumps(document(WATCH, SNAPSHOT, WATCHING, drill=False, may_see=False))
    redacted = document(WATCH, SNAPSHOT, WATCHING, drill=True, may_see=False)
    assert redacted["head"]["title"] == "DRILL · Raising the bell"
    secret = json.dumps(redacted)
    for word in ("muted", "silent", "clipping"):
        assert word in plain
        assert word not in secret


def test_nothing_in_it_is_null() -> None:
    """Null means "gone" in a patch."""
    made = document(WATCH, SNAPSHOT, WATCHING, drill=False, may_see=True)
    assert "null" not in json.dumps(made)
