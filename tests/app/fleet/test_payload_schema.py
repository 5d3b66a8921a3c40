"""Payloads against their published schemas, by a general validator."""

from __future__ import annotations

import json

import pytest
from jsonschema import Draft202012Validator, ValidationError

from app.fleet.payload_schema import SCHEMAS, schema
from tests.app.fleet.test_publisher import ALARMS, Night


@pytest.mark.parametrize("name", SCHEMAS)
def test_each_is_a_schema(name: str) -> None:
    """Of draft 2020-12."""
    Draft202012Validator.check_schema(schema(name))


@pytest.mark.parametrize("drill", [False, True])
def test_what_a_cart_says_keeps_to_them(drill: bool) -> None:
    """With and without alarms, in a drill, at its end."""
    night = Night(drill)
    night.run(2.0)
    said = list(night.said)
    night.run(2.0, ALARMS)
    said += night.said
    night.said.clear()
    night.cart.goodbye()
    said += night.said
    checked = set()
    for topic, payload in [*((t, p) for t, p, _ in said), night.cart.will()]:
        kind = topic.split("/")[2]
        if payload:
            Draft202012Validator(schema(f"mqtt-{kind}")).validate(json.loads(payload))
            checked.add(kind)
    assert checked == {"state", "tracks", "levels", "alarm"}


def test_what_is_missing_is_noticed() -> None:
    """A state without its timecode is none."""
    night = Night()
    night.run(1.0)
    (state,) = [json.loads(p) for t, p, _ in night.said[:5] if t.endswith("/state")]
    del state["timecode"]
    with pytest.raises(ValidationError):
        Draft202012Validator(schema("mqtt-state")).validate(state)
