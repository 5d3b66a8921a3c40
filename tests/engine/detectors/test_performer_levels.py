"""The loudest of a performer's packs, against a comparison of each pack with each."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from engine.detectors.performer_levels import PerformerLevels
from engine.model.messages import Kind
from engine.model.tracks import Scene, Track

tracks = st.lists(
    st.tuples(
        st.sampled_from([Kind.LAV, Kind.LAV, Kind.BOOM, Kind.COMMS]), st.sampled_from(["", *"abcd"])
    ),
    min_size=1,
    max_size=9,
)


@given(tracks, st.integers(0, 999))
def test_they_are_those_of_all_pairs(given_tracks: list[tuple[Kind, str]], seed: int) -> None:
    """With one pack or several of each performer, and tracks that are no packs."""
    all_tracks = tuple(Track(n, kind=k, who=w) for n, (k, w) in enumerate(given_tracks, start=1))
    levels = np.random.default_rng(seed).choice([0.0, 0.5, 1.0, 2.0], (3, len(all_tracks)))
    both = PerformerLevels(Scene(all_tracks, 48_000))
    own, others = both.own(levels), both.others(levels)
    for at, track in enumerate(all_tracks):
        packs = [n for n, t in enumerate(all_tracks) if t.kind is Kind.LAV]
        mine = [n for n in packs if n == at or (track.who and all_tracks[n].who == track.who)]
        theirs = [n for n in packs if n not in mine] if track.kind is Kind.LAV else []
        assert own[:, at].tolist() == levels[:, [at, *mine]].max(axis=1).tolist()
        assert others[:, at].tolist() == levels[:, theirs].max(axis=1, initial=0.0).tolist()
