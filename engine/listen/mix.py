"""What is heard: one track at a time from the ring, faded, levelled, limited. No device, no clock.

A track fades in over 300 ms, and so does the level after a change; a switch between the two packs
of one `who` keeps the place and the loudness. That these figures are comfortable is common
practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.listen.limiter import Limiter
from engine.listen.resample import Reader
from engine.listen.ring import Ring
from engine.measure.loudness import OFFSET_LU, k_weighting
from engine.measure.sos_filter import SosFilter
from engine.model.listening import FIRST_LEVEL_DB, HIGHEST_LIMIT_DB, LEAST_LEVEL_DB, LIMIT_DB

FADE_IN_S: Final = 0.3
FADE_OUT_S: Final = 0.1
SWITCH_S: Final = 0.03
DB_PER_S: Final = 40.0
"""How fast the level follows its setting."""

LAG_S: Final = 0.2
MOST_LAG_S: Final = 0.8
"""Live is heard this far behind the input; further behind it is brought up again."""

MATCH_S: Final = 3.0
MATCH_MOST_DB: Final = 24.0
_QUIET_LUFS: Final = -70.0
"""The absolute gate of ITU-R BS.1770-5: fainter packs are not matched."""
_GATE: Final = 0.1
"""Its relative gate, -10 LU."""


@dataclass(slots=True)
class _Voice:
    """One track as it plays.

    place : where it is, in the reader's steps
    grows : change of `shown` each frame; negative while it fades out
    shown : 0 silent to 1 whole
    dry : it has caught up with the input and waits for more
    """

    track: int
    place: int
    live: bool
    match_db: float
    grows: float
    shown: float = 0.0
    dry: bool = False


class Mix:
    """The sound for one output of that rate."""

    def __init__(self, ring: Ring, rate_hz: int) -> None:
        self.ring = ring
        self.rate_hz = rate_hz
        self.level_db, self.limit_db = FIRST_LEVEL_DB, LIMIT_DB
        self._reader = Reader(ring, rate_hz)
        self._limiter = Limiter(rate_hz)
        self._now_db = FIRST_LEVEL_DB
        self._voices: list[_Voice] = []
        self._tail_s = 0.0

    # ---- what the crew asks ------------------------------------------------------------------

    @property
    def voice(self) -> _Voice | None:
        """What plays and is not fading out."""
        playing = [voice for voice in self._voices if voice.grows > 0.0]
        return playing[-1] if playing else None

    @property
    def silent(self) -> bool:
        """Nothing plays, and the last of it has left the limiter."""
        return not self._voices and self._tail_s <= 0.0

    @property
    def at_frame(self) -> int:
        """Stream frame of what is heard now."""
        voice = self.voice
        return self.ring.end if voice is None else voice.place // self._reader.up

    def set_level(self, level_db: float, limit_db: float) -> None:
        """Gain, and the limit that neither the gain nor a peak goes over; dB."""
        self.limit_db = min(max(limit_db, LEAST_LEVEL_DB), HIGHEST_LIMIT_DB)
        self.level_db = min(max(level_db, LEAST_LEVEL_DB), self.limit_db)

    def listen(self, track: int, from_frame: int | None = None, match_db: float = 0.0) -> None:
        """Hear that input from a stream frame on, or live; begins low unless something plays.

        `match_db` is added to its gain, within the bounds of a match of two packs.
        """
        if self.voice is None:
            self.level_db = self._now_db = min(FIRST_LEVEL_DB, self.limit_db)
        live = from_frame is None
        frame = self._live_frame() if from_frame is None else max(from_frame, self.ring.oldest)
        match_db = min(max(match_db, -MATCH_MOST_DB), MATCH_MOST_DB)
        self._begin(track, frame * self._reader.up, live, match_db, FADE_IN_S, FADE_OUT_S)

    def switch(self, track: int) -> None:
        """Hear the other pack at the same place, as loud as this one."""
        voice = self.voice
        if voice is None:
            return
        match_db = voice.match_db + self._louder_db(voice, track)
        match_db = min(max(match_db, -MATCH_MOST_DB), MATCH_MOST_DB)
        self._begin(track, voice.place, voice.live, match_db, SWITCH_S, SWITCH_S)

    def at_rate(self, rate_hz: int) -> Mix:
        """The same for another output: it begins low and soft there."""
        fresh = Mix(self.ring, rate_hz)
        fresh.set_level(FIRST_LEVEL_DB, self.limit_db)
        voice = self.voice
        if voice is not None:
            place = voice.place // self._reader.up * fresh._reader.up
            fresh._begin(voice.track, place, voice.live, voice.match_db, FADE_IN_S, SWITCH_S)
        return fresh

    def stop(self) -> None:
        """Fade out."""
        for voice in self._voices:
            voice.grows = -1.0 / (FADE_OUT_S * self.rate_hz)

    def _live_frame(self) -> int:
        return self.ring.end - round(LAG_S * self.ring.sample_rate_hz)

    def _begin(
        self, track: int, place: int, live: bool, match_db: float, in_s: float, out_s: float
    ) -> None:
        for voice in self._voices:
            voice.grows = min(voice.grows, -1.0 / (out_s * self.rate_hz))
        grows = 1.0 / (in_s * self.rate_hz)
        self._voices.append(_Voice(track, place, live, match_db, grows))

    def _louder_db(self, voice: _Voice, other: int) -> float:
        """By how much the track that plays is louder than the other, over the last seconds."""
        rate_hz = self.ring.sample_rate_hz
        step = rate_hz // 10
        blocks = round(10 * MATCH_S)
        start = voice.place // self._reader.up - blocks * step
        weight = SosFilter(k_weighting(rate_hz), 2, step, 1)
        pair = np.stack([self.ring.read(t, start, blocks * step) for t in (voice.track, other)])
        parts = pair.reshape(2, blocks, step).transpose(1, 0, 2)
        powers = np.stack([np.square(weight(part)).mean(axis=1) for part in parts], axis=1)
        loud = powers[0] > _GATE * powers[0].mean()
        if not loud.any():
            return 0.0
        levels = 10.0 * np.log10(np.maximum(powers[:, loud].mean(axis=1), 1e-30)) + OFFSET_LU
        return float(levels[0] - levels[1]) if levels.min() > _QUIET_LUFS else 0.0

    # ---- sound -------------------------------------------------------------------------------

    def render(self, frames: int) -> NDArray[np.float32]:
        """The next frames, shape (frames,); no peak over the limit."""
        sound = np.zeros(frames)
        for voice in tuple(self._voices):
            sound += self._of(voice, frames)
        self._voices = [v for v in self._voices if v.shown > 0.0 or v.grows > 0.0]
        self._tail_s = FADE_OUT_S if self._voices else self._tail_s - frames / self.rate_hz
        ceiling = np.full(frames, 10.0 ** (self.limit_db / 20.0))
        limited = self._limiter(sound * self._gains(frames), ceiling)
        return np.clip(limited, -ceiling, ceiling).astype(np.float32)

    def _gains(self, frames: int) -> NDArray[np.float64]:
        """The level moves to its setting at a steady pace."""
        most_db = DB_PER_S * frames / self.rate_hz
        target_db = self._now_db + float(np.clip(self.level_db - self._now_db, -most_db, most_db))
        path_db = np.linspace(self._now_db, target_db, frames + 1)[1:]
        self._now_db = target_db
        return np.asarray(10.0 ** (path_db / 20.0))

    def _of(self, voice: _Voice, frames: int) -> NDArray[np.float64]:
        self._keep_up(voice)
        at_hand = (self.ring.end - self._reader.ahead) * self._reader.up - voice.place
        count = min(max(at_hand // self._reader.down, 0), frames)
        if voice.dry:
            return np.zeros(frames)
        out = np.zeros(frames)
        out[:count] = self._reader.read(self.ring, voice.track, voice.place, count)
        voice.place += count * self._reader.down
        shown = np.clip(voice.shown + voice.grows * np.arange(1, frames + 1), 0.0, 1.0)
        voice.shown = float(shown[-1])
        out *= np.sin(0.5 * np.pi * shown) ** 2 * 10.0 ** (voice.match_db / 20.0)
        if count < frames:
            soft = min(count, round(SWITCH_S * self.rate_hz))
            out[count - soft : count] *= np.linspace(1.0, 0.0, soft)
            voice.dry, voice.shown = True, 0.0
        return out

    def _keep_up(self, voice: _Voice) -> None:
        """Go on once the input has; bring up what fell too far behind or was overwritten."""
        up = self._reader.up
        lag_s = (self.ring.end - voice.place / up) / self.ring.sample_rate_hz
        if voice.dry and lag_s >= LAG_S:
            voice.dry = False
        if voice.grows <= 0.0:
            return
        if voice.live and lag_s > MOST_LAG_S:
            self._jump(voice, self._live_frame() * up)
        elif voice.place < self.ring.oldest * up:
            self._jump(voice, self.ring.oldest * up)

    def _jump(self, voice: _Voice, place: int) -> None:
        """Begin anew at another place, softly."""
        voice.place, voice.shown = place, 0.0
        voice.grows = 1.0 / (SWITCH_S * self.rate_hz)
