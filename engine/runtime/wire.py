"""What window and engine send each other, as bytes of a declared form.

Each message is a MessagePack array of its type's name and its fields; bytes that are anything else
are an error, never code. The names and fields of all types make up `SCHEMA`, which tells two
versions of the program apart before they misunderstand each other.
"""

from __future__ import annotations

import hashlib
import typing
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import lru_cache
from typing import Any, Final

import msgspec
import numpy as np

from engine.model import commands
from engine.model.client_id import ClientId
from engine.model.commands import Command, Open, Watch
from engine.model.snapshot import Snapshot

LONGEST_BYTES: Final = 32 * 2**20
"""No message is longer; the largest, a snapshot of 512 tracks, has about 1 MB. Ours."""

_DTYPES: Final = frozenset({"<f8", "<f4", "|b1", "|u1", "<i8"})


class WireError(ValueError):
    """The bytes are no message of ours; one line."""


@dataclass(frozen=True, slots=True)
class Failed:
    """The watch could not be opened; `reason` is one clear line (a line for each plan mistake)."""

    reason: str


@dataclass(frozen=True, slots=True)
class Progress:
    """What keeps the watch from beginning, one line."""

    text: str


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """That input is watched already, by the engine of the session in that folder."""

    folder: str


@dataclass(frozen=True, slots=True)
class Alive:
    """A heartbeat. From an engine: `turn_s` since its watch last took a turn; from a window: 0."""

    turn_s: float = 0.0


State = Failed | Progress | Elsewhere | Alive | Snapshot


@dataclass(frozen=True, slots=True)
class Message:
    """From an engine: what is watched, None before it began, and how it stands."""

    watch: Watch | None
    state: State


@dataclass(frozen=True, slots=True)
class Job:
    """What a new engine process is to do.

    folder : the session's folder
    resume : go on from where the session's last engine broke off
    """

    folder: str
    request: Open
    resume: bool = False


FromWindow = ClientId | Command | Alive
_STATES: Final[tuple[type, ...]] = typing.get_args(State)
_KINDS: Final[Mapping[str, type]] = {
    kind.__name__: kind
    for kind in (Job, ClientId, Watch, *_STATES, *typing.get_args(commands.Command))
}


def pack(value: FromWindow | Job) -> bytes:
    """One value as bytes."""
    return _encode((type(value).__name__, value))


def unpack(data: bytes) -> Any:
    """The value that `pack` made them of.

    Raises
    ------
    WireError
        Where they are no such value.
    """
    name, body = _decode(data, tuple[str, msgspec.Raw])
    return _decode(body, _kind(name))


def pack_message(message: Message) -> bytes:
    """A message of an engine as bytes."""
    return _encode((message.watch, type(message.state).__name__, message.state))


def unpack_message(data: bytes) -> Message:
    """The message that `pack_message` made them of.

    Raises
    ------
    WireError
        Where they are no message.
    """
    watch, name, body = _decode(data, tuple[msgspec.Raw, str, msgspec.Raw])
    if _kind(name) not in _STATES:
        raise WireError(f"{name!r} is nothing that an engine says")
    return Message(_watch_of(bytes(watch)), _decode(body, _kind(name)))


@lru_cache(maxsize=4)
def _watch_of(data: bytes) -> Watch | None:
    """What is watched; the same one as long as every message says the same, for it is most of
    what one holds and seldom changes."""
    watch: Watch | None = _decode(data, Watch | None)
    return watch


def _kind(name: str) -> type:
    if name not in _KINDS:
        raise WireError(f"{name[:40]!r} is nothing that is sent here")
    return _KINDS[name]


def _encode(value: Any) -> bytes:
    return msgspec.msgpack.encode(value, enc_hook=_array_out)


def _decode(data: Any, kind: Any) -> Any:
    try:
        return msgspec.msgpack.decode(data, type=kind, dec_hook=_array_in)
    except (msgspec.MsgspecError, ValueError, TypeError, OverflowError, RecursionError) as error:
        raise WireError(f"not understood: {error}") from error


def _array_out(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        return (value.dtype.str, value.shape, value.tobytes())
    raise TypeError(f"{type(value).__name__} can't be sent")


def _array_in(kind: Any, value: Any) -> Any:
    dtype, shape, data = value
    if dtype not in _DTYPES or not isinstance(data, bytes):
        raise ValueError(f"no array: {dtype!r}")
    return np.frombuffer(data, dtype).reshape(shape).copy()


def _declared(kind: Any, names: set[str]) -> Iterator[str]:
    """Every dataclass that a type leads to, with its fields, in a fixed order."""
    for part in typing.get_args(kind):
        yield from _declared(part, names)
    if isinstance(kind, type) and is_dataclass(kind) and kind.__qualname__ not in names:
        names.add(kind.__qualname__)
        hints = typing.get_type_hints(kind)
        yield f"{kind.__qualname__}({', '.join(f'{f.name}: {f.type}' for f in fields(kind))})"
        for field in fields(kind):
            yield from _declared(hints[field.name], names)


def _schema() -> str:
    names: set[str] = set()
    text = "\n".join(line for kind in _KINDS.values() for line in _declared(kind, names))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


SCHEMA: Final = _schema()
"""The same for all programs that understand each other."""
