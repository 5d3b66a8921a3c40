"""What one fault explains of another: of two names for one cause, the one that says it is told.

Model: where the packs of two performers changed places, the pairs of both are other pairs than
those whose offset was learned; that they differ from it is no pack that slipped.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from engine.model.fault_remedies import FAULTS
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Condition, Fault, Flags, State
from engine.model.tracks import Scene

SWAPPED = next(rule.name for rule in FAULTS if rule.fault is Fault.SWAPPED)
PAIR_DRIFT = next(rule.name for rule in FAULTS if rule.fault is Fault.PAIR_DRIFT)


def explained(conditions: Mapping[str, Condition], scene: Scene) -> Mapping[str, Condition]:
    """The same conditions, clear where another one that is active explains them."""
    swapped, drifts = conditions.get(SWAPPED), conditions.get(PAIR_DRIFT)
    if swapped is None or drifts is None or swapped.partners is None:
        return conditions
    if swapped.quiet or drifts.quiet:
        return conditions
    active = indices(swapped.state == State.ACTIVE)
    if not len(active) or not any_of(drifts.state == State.ACTIVE):
        return conditions
    named = {*active.tolist(), *swapped.partners[active].tolist()}
    performers = {scene.tracks[track_index].who for track_index in named} - {""}
    theirs: Flags = np.array([track.who in performers for track in scene.tracks], dtype=np.bool_)
    state = np.where(theirs & (drifts.state == State.ACTIVE), np.int8(State.CLEAR), drifts.state)
    return {**conditions, PAIR_DRIFT: replace(drifts, state=state.astype(np.int8))}
