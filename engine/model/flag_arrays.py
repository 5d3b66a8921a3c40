"""Questions to small arrays of flags, asked many hundred times a tick: what numpy says, sooner.

`any` of a dozen flags takes numpy 3 us, nearly all of it before it looks at the first.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Flags

_TRUE: Final = b"\x01"


def any_of(flags: Flags | np.bool_) -> bool:
    """Whether any is set, of any shape."""
    return _TRUE in flags.tobytes()


def any_of_each(flags: Flags) -> list[bool]:
    """Whether any is set in each part along the first axis."""
    said = flags.tobytes()
    size = len(said) // max(len(flags), 1)
    return [_TRUE in said[size * n : size * (n + 1)] for n in range(len(flags))]


def count_of(flags: Flags, axis: int) -> NDArray[np.int64]:
    """How many are set along that axis; numpy's own takes twice as long to begin."""
    number: NDArray[np.int64] = np.add.reduce(flags, axis=axis, dtype=np.int64)
    return number


def indices(flags: Any) -> NDArray[np.int64]:
    """Where they are set, of shape (tracks,) or of another single axis."""
    where: tuple[NDArray[np.int64], ...] = flags.nonzero()
    return where[0]
