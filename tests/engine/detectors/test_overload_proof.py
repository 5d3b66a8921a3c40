"""Which tops prove an overload together."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from engine.detectors.overload_proof import OverloadProof
from engine.detectors.tops import Top

HEIGHTS = st.sampled_from([0.5, 0.504, 0.506, 0.52, 0.524, 0.53, 0.6])


@st.composite
def tops(draw: st.DrawFn) -> Top:
    """Flat ones with sharp corners, level or not, at heights about the limits, on either side."""
    ceiling = draw(HEIGHTS) * draw(st.sampled_from([1.0, -1.0]))
    return Top(draw(st.floats(0.0, 0.09)), 9, ceiling, draw(st.booleans()), True, 0.4, 1.0)


@given(st.lists(tops(), min_size=1, max_size=9))
def test_only_tops_at_one_ceiling_speak_for_each_other(before: list[Top]) -> None:
    """Cut ones within 5 % of the height, two level ones within 1 % (CONTRACT.md)."""
    proof = OverloadProof(enough=3, near_s=0.1, long_run=99, lag=1)
    top = before[-1]._replace(at_s=0.1)
    before = [*before[:-1], top]
    alike = [one for one in before if top.alike(one)]
    told = proof.cut(top, before, energy=1e-9, reached=0.0)
    assert told == (alike if len(alike) >= 3 else [])
