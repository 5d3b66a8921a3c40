"""Whether anything arrives at a live input: the peak of each of its channels, now and then."""

from __future__ import annotations

import numpy as np

from engine.model.messages import Levels
from engine.sources.capture import CapturedSource

SILENT_DBFS = -200.0
"""Of a channel on which nothing but zeros came: a number that can be compared. Ours."""


class InputPeaks:
    """Listens to an input without watching it; opens it in the background.

    Parameters
    ----------
    name, host_api : str
        Of the device, as PortAudio lists it.

    Raises
    ------
    SourceError
        Where no process can be started.
    """

    def __init__(self, name: str, host_api: str) -> None:
        self._source = CapturedSource(name, host_api, wait=False)

    def read(self) -> Levels | None:
        """Highest sample of each channel since it was read last, dBFS, shape (channels,).

        None where nothing came since; never waits.

        Raises
        ------
        SourceError
            Where the device can't be opened or was lost.
        """
        highest: Levels | None = None
        while (block := self._source.read(0.0)) is not None:
            if len(block.samples):
                peak = np.abs(block.samples).max(axis=0).astype(np.float64)
                highest = peak if highest is None else np.maximum(highest, peak)
        if highest is None:
            return None
        return np.asarray(20.0 * np.log10(np.maximum(highest, 10.0 ** (SILENT_DBFS / 20.0))))

    def close(self) -> None:
        """Let go of the device at once; may be called twice."""
        self._source.close()
