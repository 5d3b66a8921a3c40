"""What one fault explains of another: of two names for one cause, the one that says it is told.

Model: where the packs of two performers changed places, the pairs of both are other pairs than
those whose offset was learned, and each input has another pack's gain: that they differ is no pack
that slipped, nor one whose gain was never set. What hardly arrives at all is no low voice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from engine.model.fault_remedies import FAULTS
from engine.model.flag_arrays import indices
from engine.model.messages import Condition, Fault, Flags, State
from engine.model.tracks import Scene

RULE_OF: Final = {rule.fault: rule.name for rule in reversed(FAULTS)}
"""The first rule of each fault."""
SWAPPED, DUPLICATE, PAIR_DRIFT, LOW, NOISE = (
    RULE_OF[f] for f in (Fault.SWAPPED, Fault.DUPLICATE, Fault.PAIR_DRIFT, Fault.LOW, Fault.NOISE)
)
BY_ANOTHERS_SIGNAL: Final = (PAIR_DRIFT, LOW)


def explained(
    conditions: Mapping[str, Condition], scene: Scene, lost: Sequence[int] = ()
) -> Mapping[str, Condition]:
    """The same conditions, clear where another one that is active explains them.

    `lost`: indices of the tracks on which the alarm of a loss stands.
    """
    clear: dict[str, Condition] = {}
    copied = _named(conditions.get(DUPLICATE))
    for names, where in (
        (BY_ANOTHERS_SIGNAL, _theirs(_named(conditions.get(SWAPPED)), scene)),
        (BY_ANOTHERS_SIGNAL, _theirs(copied, scene)),
        ((NOISE,), _at(copied, scene)),
        ((LOW,), _at(lost, scene)),
    ):
        for name in names if where is not None else ():
            said = clear.get(name, conditions.get(name))
            if said is None or said.quiet or where is None:
                continue
            here = where & (said.state == State.ACTIVE)
            state = np.where(here, np.int8(State.CLEAR), said.state)
            clear[name] = replace(said, state=state.astype(np.int8))
    return {**conditions, **clear} if clear else conditions


def _named(said: Condition | None) -> Sequence[int]:
    """Indices of the tracks that carry another's signal, by that condition."""
    if said is None or said.partners is None or said.quiet:
        return ()
    active = indices(said.state == State.ACTIVE)
    if not len(active):
        return ()
    named = {*active.tolist(), *said.partners[active].tolist()}
    # Of all inputs, where all were moved.
    return sorted(named | set(indices(said.partners >= 0).tolist()))


def _theirs(named: Sequence[int], scene: Scene) -> Flags | None:
    """Those tracks and all packs of their performers, shape (tracks,); None where there is none."""
    if not named:  # as nearly always
        return None
    performers = {scene.tracks[n].who for n in named} - {""}
    packs = [n for n, track in enumerate(scene.tracks) if track.who in performers]
    return _at([*named, *packs], scene)


def _at(track_indices: Sequence[int], scene: Scene) -> Flags | None:
    """Those tracks, shape (tracks,); None where there is none."""
    if not track_indices:
        return None
    where = np.zeros(len(scene.tracks), dtype=np.bool_)
    where[list(track_indices)] = True
    return where
