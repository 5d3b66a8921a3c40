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
        self._readers = {
            track_index: (LtcDecoder(rate_hz), Follower(planned, rate_hz))
            for track_index, track in enumerate(scene.tracks)
            if track.kind is Kind.TIMECODE
        }

    def update(self, samples: Samples, end_s: float) -> Mapping[int, CodeReading]:
        """How each code stands at the end of this tick, by the track's index.

        `samples` has shape (frames, tracks); lost ones are zero.
        """
        return {
            track_index: follower.update(decoder.update(samples[:, track_index]), end_s)
            for track_index, (decoder, follower) in self._readers.items()
        }

    def carry(self, before: TimecodeReader, remap: TrackRemap) -> None:
        """Take over the code of the tracks that stay and still carry any."""
        for old_index, track_index in remap.new.items():
            if track_index in self._readers and old_index in before._readers:
                self._readers[track_index] = before._readers[old_index]

    def skip(self, frames: int) -> None:
        """So many frames were lost and are not looked at."""
        for decoder, _ in self._readers.values():
            decoder.skip(frames)

    def rewind(self) -> None:
        """The take begins anew: what comes next follows nothing."""
        for decoder, follower in self._readers.values():
            decoder.reset()
            follower.reset()
