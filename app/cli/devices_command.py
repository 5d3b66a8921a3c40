"""The live inputs of this machine, listed."""

from __future__ import annotations

import sys

from engine.model.safe_text import json_text
from engine.sources.capture import list_inputs
from engine.sources.device import NO_INPUTS


def print_devices(*, as_json: bool) -> bool:
    """The live inputs, as a table or a document; False where there is none to list."""
    inputs = list_inputs()
    if as_json:
        rows = [
            {
                "index": device.index,
                "name": device.name,
                "host_api": device.host_api,
                "channels": device.channels,
                "default_rate_hz": device.default_rate_hz,
            }
            for device in inputs
        ]
        print(json_text({"kind": "devices", "schema": 1, "devices": rows}, indent=1))
        return True
    if not inputs:
        print(NO_INPUTS, file=sys.stderr)
        return False
    print(f"{'index':>5}  {'inputs':>6}  {'rate':>8}  name (host API)")
    for device in inputs:
        rate = f"{device.default_rate_hz / 1000:g} kHz"
        print(
            f"{device.index:>5}  {device.channels:>6}  {rate:>8}  {device.name} ({device.host_api})"
        )
    return True
