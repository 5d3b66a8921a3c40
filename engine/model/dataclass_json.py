"""Frozen dataclasses to JSON and back, by their own types: for what is kept on disk.

A file that somebody altered can make nothing but such data: it never runs code.
"""

from __future__ import annotations

import json
import types
from dataclasses import fields, is_dataclass
from enum import Enum
from functools import cache
from typing import Any, Final, TypeVar, Union, get_args, get_origin, get_type_hints

from engine.model.safe_text import json_text

T = TypeVar("T")

_AS_THEY_ARE: Final = frozenset({str, int, float, bool, type(None)})


def dumps(value: Any) -> str:
    """That dataclass as JSON; infinities and NaN as Python's `json` writes them."""
    return json_text(_plain(value), separators=(",", ":"))


def loads(kind: type[T], text: str) -> T:
    """The dataclass of that kind that `dumps` made the text of.

    Raises
    ------
    ValueError
        Where the text is of another kind.
    """
    try:
        instance = _build(kind, json.loads(text))
    except (TypeError, ValueError, KeyError, AttributeError, RecursionError) as error:
        raise ValueError(f"no {kind.__name__}: {error}") from error
    assert isinstance(instance, kind)
    return instance


def _plain(value: Any) -> Any:
    kind: Any = type(value)
    if kind in _AS_THEY_ARE:
        return value
    if kind is tuple and set(map(type, value)) <= _AS_THEY_ARE:
        return value  # thousands of levels, each second: json takes a tuple for a list
    names = _names(kind)
    if names is not None:
        return {name: _plain(getattr(value, name)) for name in names}
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value.value if isinstance(value, Enum) else value


@cache
def _names(kind: Any) -> tuple[str, ...] | None:
    """The fields of a dataclass; None of any other type."""
    return tuple(field.name for field in fields(kind)) if is_dataclass(kind) else None


def _build(kind: Any, value: Any) -> Any:
    origin, arguments = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        return _one_of(arguments, value)
    if origin is tuple:
        if not isinstance(value, list):
            raise TypeError(f"{value!r} is no list")
        if arguments[-1] is ...:
            return tuple(_build(arguments[0], item) for item in value)
        return tuple(_build(k, item) for k, item in zip(arguments, value, strict=True))
    if is_dataclass(kind):
        hints = get_type_hints(kind)
        make: Any = kind
        return make(**{name: _build(hints[name], item) for name, item in value.items()})
    if isinstance(kind, type) and issubclass(kind, Enum):
        return kind(value)
    return _number_or_text(kind, value)


def _one_of(kinds: tuple[Any, ...], value: Any) -> Any:
    if value is None and type(None) in kinds:
        return None
    for kind in kinds:
        if kind is type(None):
            continue
        try:
            return _build(kind, value)
        except (TypeError, ValueError, KeyError, AttributeError):
            continue
    raise TypeError(f"{value!r} is none of {kinds}")


def _number_or_text(kind: Any, value: Any) -> Any:
    if kind is float and type(value) is int:
        return float(value)
    if type(value) is not kind:
        raise TypeError(f"{value!r} is no {kind.__name__}")
    return value
