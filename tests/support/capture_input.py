"""Capture a live input for some seconds, in a process of its own; run by test_live_input.py.

Writes what came to an .npy file and one JSON line on standard output.
"""

from __future__ import annotations

import json
import sys
import time

import numpy as np

from engine.sources.base import SourceError
from engine.sources.device import DeviceSource, choose_input, list_inputs


def main(channels: int, seconds: float, path: str) -> None:
    """Capture until the time is over or the source fails."""
    source = DeviceSource(choose_input("interface", list_inputs()), channels=channels)
    # An idle null sink renders two seconds ahead, so the first block may take that long.
    first = source.read(10.0)
    blocks, lost, failure = [] if first is None else [first.samples], 0, ""
    print("listening", flush=True)
    end, last_block_at = time.monotonic() + seconds, time.monotonic()
    while time.monotonic() < end:
        try:
            block = source.read(0.2)
        except SourceError as error:
            failure = str(error)
            break
        if block is not None:
            last_block_at = time.monotonic()
            blocks.append(block.samples)
            lost += block.lost_frames
    quiet_s = time.monotonic() - last_block_at
    source.close()
    np.save(path, np.concatenate(blocks) if blocks else np.zeros((0, channels)))
    told = {
        "rate_hz": source.info.sample_rate_hz,
        "lost": lost,
        "quiet_s": quiet_s,
        "failure": failure,
        "inputs": [[d.name, d.host_api, d.channels] for d in list_inputs()],
    }
    print(json.dumps(told), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]), float(sys.argv[2]), sys.argv[3])
