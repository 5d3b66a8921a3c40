"""From which channel carries which track to plain findings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.verify.channel_gain import gain_step
from engine.verify.channel_match import ChannelMatch
from engine.verify.mix_down import mix_windows, mixed_of
from engine.verify.result import Difference, Finding
from engine.verify.traces import TakeTrace, Trace

GAIN_DB: Final = 4.0
"""A track whose level differs so much more than the others' do was trimmed otherwise; ours."""

UNSTEADY: Final = 3.5
"""And so many times the spread of the others (1.4826 MAD): an interface may have gains of its
own, and then one gain more proves nothing."""


def channel_findings(
    path: str,
    matches: Sequence[ChannelMatch],
    session_dbfs: Trace,
    take_dbfs: Trace,
    inputs: Sequence[int],
    names: Mapping[int, str],
    start_s: float,
    step_s: float,
) -> list[Finding]:
    """What is not where it belongs, or not as loud as it was heard."""
    findings = [*_misplaced(path, matches, names)]
    findings += _gains(path, matches, names)
    column = {number: n for n, number in enumerate(inputs)}
    for match in matches:
        if match.own is None or not match.on or match.on[0] != match.own:
            continue
        step = gain_step(session_dbfs[:, column[match.input]], take_dbfs[:, match.own])
        if step is not None:
            text = (
                f"{names[match.input]}: {step.by_db:+.0f} dB against what was heard, from here on"
            )
            at_s = start_s + step.at_step * step_s
            where = (path, match.input, match.own + 1, at_s)
            findings.append(Finding(Difference.GAIN, text, *where))
    return findings


def _misplaced(
    path: str, matches: Sequence[ChannelMatch], names: Mapping[int, str]
) -> list[Finding]:
    shift = _common_shift(matches)
    if shift:
        text = f"all tracks lie {abs(shift)} {'higher' if shift > 0 else 'lower'} than planned"
        return [Finding(Difference.OTHER_CHANNEL, text, path)]
    belongs = {
        match.on[0]: match.input for match in matches if match.on and match.on[0] == match.own
    }
    findings = []
    for match in matches:
        name = names[match.input]
        here = (path, match.input, None if match.own is None else match.own + 1)
        if match.own in match.on[:1]:
            continue
        if match.own is None:
            text = f"{name} is not recorded: the take has too few channels"
            findings.append(Finding(Difference.NOT_RECORDED, text, *here))
        elif match.own_is_empty and not _elsewhere(match, belongs):
            text = f"{name} is not recorded: channel {match.own + 1} is empty"
            findings.append(Finding(Difference.NOT_RECORDED, text, *here))
        elif _elsewhere(match, belongs):
            text = f"{name} lies on channel {match.on[0] + 1}"
            findings.append(Finding(Difference.OTHER_CHANNEL, text, *here))
        elif match.own in {c for m in matches for c in m.on}:
            twice = next(names[m.input] for m in matches if match.own in m.on)
            text = f"{name} is not recorded: channel {match.own + 1} carries {twice} once more"
            findings.append(Finding(Difference.DOUBLED, text, *here))
        else:
            text = f"channel {match.own + 1} carries another sound than {name} was heard to carry"
            findings.append(Finding(Difference.OTHER_MIC, text, *here))
    return findings


def _elsewhere(match: ChannelMatch, belongs: Mapping[int, int]) -> bool:
    """It lies on a channel where no other track is at home."""
    return bool(match.on) and match.on[0] not in belongs


def _common_shift(matches: Sequence[ChannelMatch]) -> int:
    """By how many channels all tracks that are there have moved; 0 where they have not."""
    moved = [m.on[0] - m.own for m in matches if m.on and m.own is not None]
    if len(moved) < 3 or not moved[0]:
        return 0
    same = sum(by == moved[0] for by in moved)
    # One that fell off the end is on the other side, or nowhere.
    return moved[0] if same >= max(len(moved) - abs(moved[0]), 3) else 0


def _gains(path: str, matches: Sequence[ChannelMatch], names: Mapping[int, str]) -> list[Finding]:
    placed = [m for m in matches if m.on and m.on[0] == m.own]
    if len(placed) < 4:
        return []
    gains: NDArray[np.float64] = np.array([m.gain_db for m in placed])
    middle = float(np.median(gains))
    spread = 1.4826 * float(np.median(np.abs(gains - middle)))
    limit_db = max(GAIN_DB, UNSTEADY * spread)
    return [
        Finding(
            Difference.GAIN,
            f"{names[m.input]}: {m.gain_db - middle:+.0f} dB against the other tracks",
            path,
            m.input,
            None if m.own is None else m.own + 1,
        )
        for m in placed
        if abs(m.gain_db - middle) >= limit_db
    ]


def mix_findings(path: str, matches: Sequence[ChannelMatch], take: TakeTrace) -> list[Finding]:
    """Channels that carry no track of the session, but a sum of others."""
    carried = sorted({channel for match in matches for channel in match.on})
    home = {match.own for match in matches}
    others = [n for n in range(take.channels) if n not in carried and n not in home]
    windows = mix_windows(take) if others else []
    findings = []
    for channel in others:
        parts = mixed_of(windows, channel, carried)
        if parts:
            of = ", ".join(str(part + 1) for part in parts)
            text = f"channel {channel + 1} is a mix of channels {of}"
            findings.append(Finding(Difference.MIX, text, path, None, channel + 1))
    return findings
