"""Whole takes and plans, small and of every kind the program reads: what spoiling begins with."""

from __future__ import annotations

import io
import struct
from functools import cache
from typing import Final

import numpy as np
import soundfile

from engine.plan.load import new_plan
from tests.support.wav_files import bext, chunk, fmt, ixml, pcm16, track_list, wav

RATES_HZ: Final = (8_000, 44_100, 48_000)
SECONDS: Final = 0.25
LONG_SECONDS: Final = 3.0
"""At 8 kHz; another rate in the header makes it longer or shorter."""

_FULL_PLAN: Final = """\
[take]
title = "Night exercise"
frame_rate = "29.97df"
production = "The new bell"
date = 2026-03-14
location = "Tower"
mixer = "Location sound mixer"

[[track]]
input = 1
name = "Ringer main"
who = "Ringer"
level = "main"
pack = "7"
placement = "chest"
receiver = "A"
battery = "3h30"

[[track]]
input = 2
name = "Ringer safety"
kind = "lav"
who = "Ringer"
level = "safety"
receiver = "A"
[track.limits]
silent_amber_s = 4
muted = "off"

[[track]]
input = 3
name = "Scaffold boom"
kind = "boom"

[[track]]
input = 4
kind = "ambience"

[[track]]
input = 5
kind = "comms"

[[track]]
input = 6
kind = "timecode"

[[track]]
input = 7
kind = "unused"

[limits.lav]
silent_amber_s = 10.0
silent_red_s = inf
presence_dbfs = -66.0

[limits.boom]
hum_amber_s = 2.5
"""


def _sound(channels: int, rate_hz: int, seconds: float) -> np.ndarray:
    """Noise at half scale with a gap, shape (frames, channels)."""
    shape = round(seconds * rate_hz), channels
    sound = np.random.default_rng(channels).uniform(-0.5, 0.5, shape)
    sound[len(sound) // 3 : len(sound) // 2, 0] = 0.0
    return sound


def _by_library(
    container: str, kind: str, channels: int, rate_hz: int, seconds: float = SECONDS
) -> bytes:
    """The file as libsndfile writes it."""
    out = io.BytesIO()
    sound = _sound(channels, rate_hz, seconds)
    soundfile.write(out, sound, rate_hz, kind, format=container)
    return out.getvalue()


def _by_hand() -> tuple[bytes, ...]:
    """Files as recorders write them: time reference, track names, RF64 with its long sizes."""
    sound = pcm16(2_000).tobytes()
    about = ixml(
        "<PROJECT>Night</PROJECT><SCENE>4</SCENE><TAKE>2</TAKE><SPEED><TIMECODE_RATE>30000/1001"
        "</TIMECODE_RATE><TIMECODE_FLAG>DF</TIMECODE_FLAG><TIMESTAMP_SAMPLE_RATE>48000"
        "</TIMESTAMP_SAMPLE_RATE><TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>0"
        "</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI><TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>4800"
        "</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO></SPEED>" + track_list((1, "Ringer"), (2, "Boom"))
    )
    long_sizes = chunk(b"ds64", struct.pack("<QQQI", 0, len(sound), 2_000, 0))
    unset = 0xFFFFFFFF
    head = (bext(48_000, b"Tower"), fmt())
    return (
        wav(*head, about, chunk(b"data", sound)),
        wav(*head, chunk(b"data", sound), about, chunk(b"JUNK", bytes(100))),
        wav(long_sizes, *head, chunk(b"data", sound, unset), about, stated=unset, name=b"RF64"),
        wav(long_sizes, *head, about, chunk(b"data", sound, unset), stated=unset, name=b"BW64"),
        wav(*head, about, chunk(b"data", sound, 0), stated=0),
    )


@cache
def takes() -> tuple[bytes, ...]:
    """One file each, multichannel and mono."""
    made = [*_by_hand()]
    for channels, rate_hz in ((1, 8_000), (2, 48_000), (7, 44_100)):
        wavs = ("PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE")
        made += [_by_library("WAV", kind, channels, rate_hz) for kind in wavs]
        made += [_by_library("WAVEX", kind, channels, rate_hz) for kind in ("PCM_24", "FLOAT")]
        made += [_by_library("RF64", kind, channels, rate_hz) for kind in ("PCM_16", "PCM_24")]
        made += [_by_library("FLAC", kind, channels, rate_hz) for kind in ("PCM_16", "PCM_24")] * 3
    made += [_by_library("WAV", "PCM_16", 3, 8_000, LONG_SECONDS)] * 3
    made.append(_by_library("FLAC", "PCM_16", 1, 8_000, LONG_SECONDS))
    return tuple(made)


@cache
def mono_takes() -> tuple[bytes, ...]:
    """Mono files of one length and rate, that may stand in one folder."""
    wavs = [_by_library("WAV", kind, 1, 8_000) for kind in ("PCM_16", "PCM_24", "FLOAT")]
    return (*wavs, _by_library("FLAC", "PCM_16", 1, 8_000))


@cache
def plans() -> tuple[str, ...]:
    """Plans that load: one that says everything, a new one, the shortest."""
    new = new_plan(["Boom 1", "Ringer", 'Mason "two"'], "Drill", "25")
    rolling = _FULL_PLAN.replace("[take]\n", '[take]\nrolling = "timecode"\n')
    dotted = "track = [{input = 1, limits.hum_red_s = 3}, {input = 2, name = 'b'}]\n"
    marked = "\ufeff" + new.replace("\n", "\r\n")  # as some editors save it
    return (_FULL_PLAN, rolling, new, "[[track]]\ninput = 1\n", dotted, marked)


@cache
def sound_for_plans() -> bytes:
    """A take of seven tracks that the plans fit."""
    return _by_library("WAV", "PCM_16", 7, 8_000)
