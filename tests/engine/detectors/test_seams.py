"""Where pieces of a filled gap meet, behind a rig's converters; and what is no such seam.

Plain repetition of the last piece is common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.crackle import Crackle
from engine.detectors.seams import is_seam
from engine.model.messages import Samples
from tests.support import harmless_sound as sound
from tests.support.contacts import place
from tests.support.pack_pair import RATE, TWO, heard, voice
from tests.support.signals import noise
from tests.support.watching import told

LENGTH_S = 0.1


def filled(x: Samples, at_s: float, piece_s: float) -> None:
    """Gaps of a tenth of a second hold the last piece before them, again and again."""
    first, piece = round(at_s * RATE), round(piece_s * RATE)
    frames = round(LENGTH_S * RATE) // piece * piece
    x[first : first + frames, 0] = np.resize(x[first - piece : first, 0], frames)


@pytest.mark.parametrize("piece_s", [0.0025, 0.004, 0.005, 0.0075, 0.01])
@pytest.mark.parametrize("at_s", [1.0, 1.45])
def test_pieces_that_were_played_again_meet_in_seams(piece_s: float, at_s: float) -> None:
    """In words and in a pause, behind a converter: where they begin, between, and at the end."""
    x = heard(voice(3.0), 0.0)
    filled(x, at_s, piece_s)
    x += noise(-92.0, 3.0, RATE, seed=8)
    first, piece = round(at_s * RATE), round(piece_s * RATE)
    last = first + round(LENGTH_S * RATE) // piece * piece
    assert all(is_seam(x[:, 0], at - 1, RATE) for at in (first, first + 3 * piece, last))


def test_what_was_not_played_again_meets_in_none() -> None:
    """A thousand moments of words and of a place; nor does silence."""
    x = np.vstack([heard(voice(3.0), 0.0)[:, :1], place()[: 3 * RATE, 1:2]])[:, 0]
    moments = np.linspace(1000, len(x) - 1000, 1000).astype(int)
    assert not any(is_seam(x, int(at), RATE) for at in moments)
    assert not is_seam(np.zeros(RATE, np.float32), 9600, RATE)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_filled_gap_is_no_crackle(seed: int) -> None:
    """Twelve of them in vowels, whose seams words do not foretell."""
    x = sound.takes([sound.voice(20.0, -22.0, np.random.default_rng(n), 0.9) for n in (seed, 9)])
    for at_s in np.arange(5.05, 16.0, 0.9):
        filled(x, float(at_s), 0.0075)
    x += noise(-92.0, 20.0, RATE, seed=8, tracks=2)[: len(x)]
    assert not told(Crackle(TWO), x, TWO).spans_s
