"""Reads the code of every timecode track of a source, once a tick."""

from __future__ import annotations

from collections.abc import Mapping

from engine.model.frame_rates import FRAME_RATES
from engine.model.messages import Kind, Samples
from engine.model.timecode_frames import CodeReading
from engine.model.track_remap import TrackRemap
from engine.model.tracks import Scene
from engine.timecode.frame_follower import Follower
from engine.timecode.ltc_decoder import LtcDecoder


class TimecodeReader:
    """Decoder and follower of each track of kind `timecode`; costs nothing without any."""

    def __init__(self, scene: Scene) -> None:
        rate_hz = scene.sample_rate_hz
        planned = FRAME_RATES[scene.frame_rate]
        places = [n for n, t in enumerate(scene.tracks) if t.kind is Kind.TIMECODE]
        self._readers = {
            place: (LtcDecoder(rate_hz), Follower(planned, rate_hz)) for place in places
        }

    def update(self, samples: Samples, end_s: float) -> Mapping[int, CodeReading]:
        """How each code stands at the end of this tick, by the track's place.

        `samples` has shape (frames, tracks); lost ones are zero.
        """
        return {
            place: follower.update(decoder.update(samples[:, place]), end_s)
            for place, (decoder, follower) in self._readers.items()
        }

    @property
    def places(self) -> tuple[int, ...]:
        """Places of the tracks that carry code."""
        return tuple(self._readers)

    def carry(self, before: TimecodeReader, places: TrackRemap) -> None:
        """Take over the code of the tracks that stay and still carry any."""
        for was, place in places.new.items():
            if place in self._readers and was in before._readers:
                self._readers[place] = before._readers[was]

    def skip(self, frames: int) -> None:
        """So many frames were lost and are not looked at."""
        for decoder, _ in self._readers.values():
            decoder.skip(frames)

    def rewind(self) -> None:
        """The take begins anew: what comes next follows nothing."""
        for decoder, follower in self._readers.values():
            decoder.reset()
            follower.reset()
