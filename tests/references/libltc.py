"""libltc through ctypes: encoder and decoder of LTC, as an outside reference.

Debian package libltc11 (1.3.2). Structures, constants and calls as in its public header, ltc.h.
Its samples have 8 bits; its encoder rounds each half bit to whole samples and carries the rest on.
"""

from __future__ import annotations

import ctypes
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_TV_STANDARD = {24: 3, 25: 1, 30: 0}
_LEVEL_DBFS = -3.0
_QUEUE = 64


class _Frame(ctypes.Structure):
    _pack_ = 1
    _fields_ = [("bytes", ctypes.c_ubyte * 10)]


class _FrameExt(ctypes.Structure):
    _fields_ = [
        ("ltc", ctypes.c_ubyte * 10),
        ("off_start", ctypes.c_longlong),
        ("off_end", ctypes.c_longlong),
        ("reverse", ctypes.c_int),
        ("biphase_tics", ctypes.c_float * 80),
        ("sample_min", ctypes.c_ubyte),
        ("sample_max", ctypes.c_ubyte),
        ("volume", ctypes.c_double),
    ]


class _Time(ctypes.Structure):
    _fields_ = [
        ("timezone", ctypes.c_char * 6),
        ("years", ctypes.c_ubyte),
        ("months", ctypes.c_ubyte),
        ("days", ctypes.c_ubyte),
        ("hours", ctypes.c_ubyte),
        ("mins", ctypes.c_ubyte),
        ("secs", ctypes.c_ubyte),
        ("frame", ctypes.c_ubyte),
    ]


@dataclass(frozen=True, slots=True)
class Heard:
    """One frame that libltc decoded; positions in samples, as it states them."""

    fields: tuple[int, int, int, int]
    drop: bool
    user_bits: int
    start: int
    end: int
    reverse: bool


def encode(
    fields: tuple[int, int, int, int],
    frames: int,
    rate_hz: int,
    frames_per_s: float,
    labels_per_s: int,
    *,
    drop: bool = False,
    user_bits: int = 0,
    slow: float = 1.0,
) -> NDArray[np.float32]:
    """LTC of so many frames from (hours, minutes, seconds, frames) on, peak -3 dBFS.

    `slow` stretches time. The last frame ends with its closing edge.
    """
    library = _load()
    counted = 29.97 if drop else float(labels_per_s)  # 29.97 sets the drop-frame flag by itself
    handle = library.ltc_encoder_create(float(rate_hz), counted, _TV_STANDARD[labels_per_s], 0)
    library.ltc_encoder_set_buffersize(handle, float(rate_hz), 0.5 * frames_per_s)
    library.ltc_encoder_set_volume(handle, _LEVEL_DBFS)
    library.ltc_encoder_set_timecode(handle, ctypes.byref(_time(fields)))
    library.ltc_encoder_set_user_bits(handle, user_bits)
    speed = slow * counted / frames_per_s
    buffer = (ctypes.c_ubyte * (2 * rate_hz))()
    pieces = []
    for n in range(frames):
        for byte in range(10):
            if library.ltc_encoder_encode_byte(handle, byte, speed):
                raise RuntimeError("libltc could not encode: its buffer is too small")
        if n == frames - 1:
            library.ltc_encoder_end_encode(handle)
        size = library.ltc_encoder_copy_buffer(handle, buffer)
        pieces.append(np.frombuffer(buffer, dtype=np.uint8, count=size).copy())
        library.ltc_encoder_inc_timecode(handle)
    library.ltc_encoder_free(handle)
    return ((np.concatenate(pieces).astype(np.float32)) - 128.0) / 128.0


def decode(samples: NDArray[np.float32], rate_hz: int, labels_per_s: int) -> list[Heard]:
    """What libltc decodes from mono samples, shape (frames,)."""
    library = _load()
    handle = library.ltc_decoder_create(round(rate_hz / labels_per_s), _QUEUE)
    heard, found = _FrameExt(), []
    step = rate_hz
    for start in range(0, len(samples), step):
        piece = np.ascontiguousarray(samples[start : start + step], dtype=np.float32)
        pointer = piece.ctypes.data_as(ctypes.POINTER(ctypes.c_float))
        library.ltc_decoder_write_float(handle, pointer, len(piece), start)
        while library.ltc_decoder_read(handle, ctypes.byref(heard)):
            found.append(_heard(library, heard))
    library.ltc_decoder_free(handle)
    return found


def _heard(library: ctypes.CDLL, heard: _FrameExt) -> Heard:
    frame, time = _Frame(heard.ltc), _Time()
    library.ltc_frame_to_time(ctypes.byref(time), ctypes.byref(frame), 0)
    return Heard(
        (time.hours, time.mins, time.secs, time.frame),
        bool(frame.bytes[1] >> 2 & 1),
        library.ltc_frame_get_user_bits(ctypes.byref(frame)),
        heard.off_start,
        heard.off_end,
        bool(heard.reverse),
    )


def _time(fields: tuple[int, int, int, int]) -> _Time:
    hours, minutes, seconds, frame = fields
    return _Time(b"+0000", 0, 0, 0, hours, minutes, seconds, frame)


def _load() -> ctypes.CDLL:
    try:
        library = ctypes.CDLL("libltc.so.11")
    except OSError as error:
        raise RuntimeError("libltc is missing: apt-get install libltc11") from error
    handle, number, real = ctypes.c_void_p, ctypes.c_int, ctypes.c_double
    calls = {
        "ltc_encoder_create": (handle, [real, real, number, number]),
        "ltc_encoder_free": (None, [handle]),
        "ltc_encoder_set_buffersize": (number, [handle, real, real]),
        "ltc_encoder_set_volume": (number, [handle, real]),
        "ltc_encoder_set_timecode": (None, [handle, handle]),
        "ltc_encoder_set_user_bits": (None, [handle, ctypes.c_ulong]),
        "ltc_encoder_encode_byte": (number, [handle, number, real]),
        "ltc_encoder_end_encode": (number, [handle]),
        "ltc_encoder_copy_buffer": (number, [handle, handle]),
        "ltc_encoder_inc_timecode": (number, [handle]),
        "ltc_decoder_create": (handle, [number, number]),
        "ltc_decoder_free": (number, [handle]),
        "ltc_decoder_write_float": (None, [handle, handle, ctypes.c_size_t, ctypes.c_longlong]),
        "ltc_decoder_read": (number, [handle, handle]),
        "ltc_frame_to_time": (None, [handle, handle, number]),
        "ltc_frame_get_user_bits": (ctypes.c_ulong, [handle]),
    }
    for name, (result, arguments) in calls.items():
        call = getattr(library, name)
        call.restype, call.argtypes = result, arguments
    return library
