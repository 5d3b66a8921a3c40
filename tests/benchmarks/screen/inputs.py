"""Live inputs for benchmarks: PortAudio on a user-space sound server, or a stand-in for it.

PulseAudio passes 32 channels at most, JACK as many as one likes.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Final

import numpy as np

from app.setup import system_packages
from tests.benchmarks.tiled import blocks, plan_text
from tests.run import display
from tests.support.sound_server import DEVICE, channel_map, sound_server

MOST_OF_A_SERVER: Final = 32
"""Channels that PulseAudio can pass (its PA_CHANNELS_MAX)."""
_STANDIN: Final = Path(__file__).parent / "standin"
_UP: Final = b"running\n"
_LONG_S: Final = 60.0
"""The sound that is repeated; on disk, for it must not weigh on anybody's memory."""


MUTED_S: Final = 0.9
"""Long enough for an amber alarm, which a lav has after 0.5 s."""


def write_raw(path: Path, tracks: int, rate_hz: int, flood: bool = False) -> None:
    """The demo take over that many tracks, as raw 16-bit samples.

    With `flood` each second another track is muted for most of it.
    """
    second, at = np.arange(rate_hz) < MUTED_S * rate_hz, 0
    with path.open("wb") as file:
        for block in blocks(tracks, rate_hz, _LONG_S):
            if flood:
                seconds, inside = np.divmod(np.arange(at, at + len(block)), rate_hz)
                muted = second[inside]
                block = block.copy()
                block[np.flatnonzero(muted), seconds[muted] % tracks] = 0.0
            at += len(block)
            file.write(np.rint(block * 32767.0).clip(-32768, 32767).astype("<i2").tobytes())


@contextmanager
def paced(
    tracks: int, rate_hz: int, scratch: Path, env: dict[str, str], flood: bool = False
) -> Iterator[dict[str, str]]:
    """The environment in which the stand-in is the only input; its name is `DEVICE`."""
    raw = scratch / "take.raw"
    write_raw(raw, tracks, rate_hz, flood)
    more = {"STANDIN_TAKE": str(raw), "STANDIN_CHANNELS": str(tracks), "STANDIN_RATE": str(rate_hz)}
    paths = [str(_STANDIN), *filter(None, [env.get("PYTHONPATH")])]
    yield {**env, **more, "PYTHONPATH": os.pathsep.join(paths)}


@contextmanager
def served(
    tracks: int, rate_hz: int, scratch: Path, env: dict[str, str], flood: bool = False
) -> Iterator[dict[str, str]]:
    """The environment in which PortAudio has one input of a sound server; its name is `DEVICE`.

    Raises
    ------
    ValueError
        For more tracks than such a server can pass.
    """
    if tracks > MOST_OF_A_SERVER:
        raise ValueError(
            f"the sound server passes {MOST_OF_A_SERVER} channels at most: --source paced"
        )
    raw = scratch / "take.raw"
    write_raw(raw, tracks, rate_hz, flood)
    with sound_server(tracks, rate_hz) as server:
        command = ["pacat", "--playback", "--raw", "--format=s16le", "--device=take"]
        command += [f"--rate={rate_hz}", f"--channels={tracks}", "--latency-msec=200"]
        command += [f"--channel-map={channel_map(tracks)}"]
        player = subprocess.Popen(command, env=server.env, stdin=subprocess.PIPE)
        server.players.append(player)
        feeding = threading.Thread(target=_feed, args=(player, raw), daemon=True)
        feeding.start()
        display = {key: env[key] for key in ("DISPLAY", "QT_QPA_PLATFORM") if key in env}
        yield {**server.env, **display}
        player.kill()
        feeding.join(5)


@contextmanager
def jacked(
    tracks: int, rate_hz: int, scratch: Path, env: dict[str, str], flood: bool = False
) -> Iterator[dict[str, str]]:
    """The environment in which a client of a JACK server is PortAudio's input, named `DEVICE`.

    Raises
    ------
    FileNotFoundError
        Without jackd2.
    """
    if shutil.which("jackd") is None:
        raise FileNotFoundError("apt install jackd2; pip install JACK-Client")
    raw = scratch / "take.raw"
    write_raw(raw, tracks, rate_hz, flood)
    own = {**env, "JACK_DEFAULT_SERVER": scratch.name, "JACK_NO_START_SERVER": "1"}
    command = ["jackd", "--no-realtime", "-n", scratch.name, "-p", str(8 * tracks)]
    command += ["-d", "dummy", "-C", str(tracks), "-P", "2", "-r", str(rate_hz)]
    with ExitStack() as stack:
        server = _running(stack, command, own, subprocess.DEVNULL)
        while subprocess.run(["jack_wait", "-c"], env=own, capture_output=True).stdout != _UP:
            if server.poll() is not None:
                raise RuntimeError("jackd does not start")
        script = ["-m", "tests.benchmarks.screen.jack_player", DEVICE, str(raw), str(tracks)]
        player = _running(stack, [sys.executable, *script], own, subprocess.PIPE)
        assert player.stdout is not None
        if not player.stdout.readline():
            raise RuntimeError("the JACK client does not start: pip install JACK-Client")
        yield own


def _running(
    stack: ExitStack, command: list[str], env: dict[str, str], out: int
) -> subprocess.Popen[bytes]:
    """That process until the stack unwinds."""
    process = subprocess.Popen(command, env=env, stdout=out, stderr=subprocess.DEVNULL)
    stack.callback(process.wait)
    stack.callback(process.kill)
    return process


def _feed(player: subprocess.Popen[bytes], raw: Path) -> None:
    assert player.stdin is not None
    try:
        while True:
            with raw.open("rb") as file:
                while piece := file.read(1 << 18):
                    player.stdin.write(piece)
    except (BrokenPipeError, ValueError):
        return


SOURCES: Final = {"paced": paced, "device": served, "jack": jacked}


@contextmanager
def a_desk(
    source: str, tracks: int, rate_hz: int, flood: bool = False
) -> Iterator[tuple[Path, Path, dict[str, str]]]:
    """A scratch folder, a plan in it, and the environment with a display and that input.

    source : one of `SOURCES`
    flood : an alarm begins each second
    """
    with ExitStack() as stack:
        scratch = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="watch")))
        plan = scratch / "plan.toml"
        plan.write_text(plan_text(tracks), encoding="utf-8")
        env = stack.enter_context(display(system_packages.Machine.here()))
        put_in = SOURCES[source](tracks, rate_hz, scratch, env, flood)
        yield scratch, plan, stack.enter_context(put_in)
