"""Who speaks on a pack, by peaks made by hand (levels: common practice, no source)."""

from __future__ import annotations

import numpy as np

from engine.early_signs.own_voice import OwnVoice


def fed(peaks: list[float]) -> tuple[list[bool], list[bool]]:
    """What is said of one track, period by period."""
    voice = OwnVoice(1)
    said = [voice.update(np.array([peak])) for peak in peaks]
    return [bool(s[0]) for s, _ in said], [bool(n[0]) for _, n in said]


def test_what_others_say_is_not_the_wearers() -> None:
    """A voice at -12 dBFS in every third period, others 25 dB under it between."""
    own, new = fed([-12.0, -37.0, -36.0] * 20)
    assert own[3:] == [True, False, False] * 19
    assert not any(new)


def test_a_performer_who_is_silent_for_long_is_not_forgotten() -> None:
    """After ten minutes of others' voices the wearer's are still told from them."""
    own, new = fed([-12.0, -37.0] * 10 + [-37.0] * 70 + [-14.0, -12.0])
    assert not any(own[20:90])
    assert own[-2:] == [True, True]
    assert not any(new)


def test_a_first_word_after_minutes_is_new() -> None:
    """All before was not of them: said once, with the second such period; a single blow is none."""
    own, new = fed([-40.0] * 20 + [-10.0] + [-40.0] * 5 + [-12.0, -11.0, -12.0])
    assert [n for n, is_new in enumerate(new) if is_new] == [27]
    assert own[27:] == [True, True]


def test_a_gain_that_creeps_is_no_new_voice() -> None:
    """26 dB in ten minutes with pauses of two periods."""
    peaks = [float("nan") if n % 3 else -30.0 + 26.0 * n / 60 for n in range(60)]
    own, new = fed(peaks)
    assert all(own[::3])
    assert not any(own[1::3])
    assert not any(new)


def test_a_restart_does_not_take_others_for_the_wearer() -> None:
    """With the loud level of before, a soft voice in the first period is not theirs."""
    voice = OwnVoice(1)
    voice.loud_dbfs = np.array([-12.0])
    assert not voice.update(np.array([-37.0]))[0][0]
    assert voice.update(np.array([-15.0]))[0][0]
