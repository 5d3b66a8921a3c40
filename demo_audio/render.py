"""Renders the take: tower and square, the packs, the file, the truth beside it."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any, Final, Protocol

import numpy as np
from numpy.typing import NDArray

from demo_audio import PLAN_NAME, TAKE_NAME, TRUTH_NAME
from demo_audio.ltc_track import Timecode
from demo_audio.packs import Link, Patched, at_pack, slipped, talkback
from demo_audio.script import (
    DURATION_S,
    FAULTS,
    HARMLESS,
    PACKS,
    RADIO,
    RATE_HZ,
    RECIPE_DIR,
    SOFT_DB,
    SPARE,
    SPOTS,
    START_DATE,
    START_TIMECODE_S,
    Pack,
    Stretch,
    load_script,
    track_names,
)
from demo_audio.sound_field import (
    ambience,
    bell_at,
    common_sounds,
    generator,
    in_the_open,
    strokes,
    voices_at,
)
from demo_audio.voices import WORLD_FRAMES, load_lines, stems
from demo_audio.wave import BYTES, pcm24, write_wave

FRAMES: Final = round(DURATION_S * RATE_HZ)
BLOCK_FRAMES: Final = 5 * RATE_HZ
WORKERS: Final = 2


class Channel(Protocol):
    """One channel of the take, made block by block."""

    def block(self, start: int, frames: int) -> NDArray[np.float64]:
        """`frames` audio frames from `start` on, shape (frames,), full scale 1.0."""
        ...


def render(folder: Path, healthy: bool, progress: Callable[[str], None]) -> None:
    """Write take, plan and truth into an existing folder."""
    faults = () if healthy else FAULTS
    links = make_links(healthy, faults, lambda: progress("demo take: making tower and square"))
    write_wave(
        folder / TAKE_NAME,
        _blocks([*links, Timecode()], progress),
        FRAMES,
        RATE_HZ,
        track_names(),
        START_TIMECODE_S,
        START_DATE,
    )
    shutil.copyfile(RECIPE_DIR / PLAN_NAME, folder / PLAN_NAME)
    truth = {
        "schema": 1,
        "faults": [_told(fault, links) for fault in faults],
        "harmless": [_told(stretch, None) for stretch in HARMLESS],
    }
    text = json.dumps(truth, indent=1, ensure_ascii=False)
    (folder / TRUTH_NAME).write_text(text + "\n", encoding="utf-8")


def make_links(
    healthy: bool, faults: Sequence[Stretch], step: Callable[[], None] = lambda: None
) -> list[Link | Patched]:
    """Every pack with the sound at its capsule, in input order.

    `step` is called before each piece of work; what it raises ends it.
    """
    step()
    lines = load_lines(load_script())
    step()
    sounds = common_sounds(list(lines.values()))
    step()
    spoken = stems(lines)
    del lines
    capsules = [(RADIO, at_pack(talkback(spoken.pop(RADIO.spot)), RADIO, 0.0))]
    speech = {}
    for who in list(spoken):
        step()
        speech[who] = in_the_open(spoken.pop(who))
    struck = strokes(SOFT_DB if healthy else 0.0)
    for name, spot in SPOTS.items():
        step()
        place = ambience(spot, sounds, generator(40, *name.encode())) + bell_at(spot, struck)
        voices = voices_at(spot, speech)
        for pack in PACKS:
            if pack.spot == name:
                slips = [f for f in faults if f.track == pack.input and f.kind == "pair_drift"]
                own = slipped(voices, slips[0]) if slips else voices
                capsules.append((pack, at_pack(place + own, pack, spot.place_dbfs)))
    capsules.append((SPARE, at_pack(np.zeros(WORLD_FRAMES), SPARE, 0.0)))
    return _patched(sorted(capsules, key=lambda one: one[0].input), faults)


def _patched(
    capsules: Sequence[tuple[Pack, NDArray[np.float32]]], faults: Sequence[Stretch]
) -> list[Link | Patched]:
    """Each pack on its input; where one is patched twice, on the other input as well."""

    def link(number: int) -> Link:
        pack, sound = capsules[number - 1]
        return Link(pack, sound, [f for f in faults if f.track == pack.input])

    signals: list[Link | Patched] = [link(pack.input) for pack, _ in capsules]
    for fault in faults:
        if fault.copy_of:
            signals[fault.track - 1] = Patched(link(fault.track), link(fault.copy_of), fault)
    return signals


def _blocks(
    links: Sequence[Channel], progress: Callable[[str], None]
) -> Iterator[NDArray[np.uint8]]:
    with ThreadPoolExecutor(WORKERS) as pool:
        for start in range(0, FRAMES, BLOCK_FRAMES):
            frames = min(BLOCK_FRAMES, FRAMES - start)
            progress(f"demo take: writing {100 * start // FRAMES} %")
            block = np.empty((frames, len(links), BYTES), dtype=np.uint8)
            list(pool.map(partial(_fill, block, start), range(len(links)), links))
            yield block


def _fill(block: NDArray[np.uint8], start: int, channel: int, link: Channel) -> None:
    codes = pcm24(link.block(start, len(block)))
    for byte in range(BYTES):  # much faster than copying three bytes at a time
        block[:, channel, byte] = codes[:, byte]


def _told(stretch: Stretch, links: Sequence[Link | Patched] | None) -> dict[str, Any]:
    """One row of the truth; flat tops are told from where they truly are in `links`."""
    onset_s, end_s = stretch.onset_s, stretch.end_s
    if links and stretch.kind == "clipped":
        flat = links[stretch.track - 1].flat_tops
        onset_s, end_s = min(flat) / RATE_HZ, max(flat) / RATE_HZ
    return {
        "track": stretch.track,
        "fault": stretch.kind,
        "onset_s": round(onset_s, 4),
        "end_s": round(end_s, 4),
        "remark": stretch.remark,
    }
