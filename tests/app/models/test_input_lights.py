"""Which lights are lit, and what is said of them."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from app.models.input_lights import HEARD_DBFS, LOUD_DBFS, Light, Lights

LEVELS = st.floats(-200.0, 0.0)


def test_used_inputs_are_told_from_unused_ones() -> None:
    """A voice is bright, a place dim, and what only hisses or is zero stays dark."""
    lights = Lights().after([-20.0, -60.0, -95.0, -200.0], 0.1)
    assert lights.lights == (Light.BRIGHT, Light.DIM, Light.DARK, Light.DARK)
    assert lights.words == "2 of 4 carry a signal"


def test_a_tap_is_seen_and_goes_out() -> None:
    """It stays bright long enough to be noticed, then dims; that it came is kept."""
    lights = Lights().after([-10.0], 0.1).after([-200.0], 0.5)
    assert lights.lights == (Light.BRIGHT,)
    assert lights.after([-200.0], 5.0).lights == (Light.DIM,)


def test_words_where_nothing_can_be_shown() -> None:
    """Before anything came, where nothing does, and where the input can't be opened."""
    assert Lights().words == "listening…"
    assert Lights().after([-200.0, -90.0], 1.0).words == "nothing arrives"
    assert Lights(problem="in use").words == "in use"


@given(st.lists(st.lists(LEVELS, min_size=3, max_size=3), min_size=1, max_size=20))
def test_a_light_is_what_came(peaks: list[list[float]]) -> None:
    """A channel is dark exactly where nothing over the limit ever came, and bright at once."""
    lights = Lights()
    for each in peaks:
        lights = lights.after(each, 0.15)
        assert all(
            light is Light.BRIGHT
            for light, peak in zip(lights.lights, each, strict=True)
            if peak >= max(LOUD_DBFS, HEARD_DBFS)
        )
    ever = [max(column) >= HEARD_DBFS for column in zip(*peaks, strict=True)]
    assert [light is not Light.DARK for light in lights.lights] == ever
