"""JSON (RFC 8259) read strictly: one reading only, exact numbers, every duplicate key named.

Whole numbers become int, all others Decimal as written. NaN and infinities are no JSON and are refused.
"""

from __future__ import annotations

import json
from collections import Counter
from decimal import Decimal
from typing import Any

from limbtier.foundation.diagnostics import Diagnostic, pointer
from limbtier.foundation.errors import LimbtierError

DEEPEST = 16


class NotJson(LimbtierError):
    """The bytes are no JSON text that has one meaning."""

    code = "not-json"


class _NoNumber(ValueError):
    """A word that stands for a number and is none in JSON."""


class _KeyTwiceError(Exception):
    """A key stands twice in an object."""


class _Repeated(dict[str, Any]):
    """An object of the text in which a key stands twice."""

    keys_twice: tuple[str, ...] = ()


def read_json(data: bytes, deepest: int = DEEPEST) -> Any:
    """The value of a JSON text in UTF-8, nested at most `deepest` deep. Raises NotJson, naming every fault
    that can be named at once."""
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise NotJson([_fault(f"Byte {error.start} is not UTF-8.", "Send the text in UTF-8.")]) from None
    repeated = False
    try:
        try:
            value = _PLAIN.decode(text)
        except _KeyTwiceError:
            value, repeated = _MARKING.decode(text), True
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise NotJson([_fault(f"The text stops being JSON at {where}.", "Send one JSON value.")]) from None
    except RecursionError:
        raise NotJson([_too_deep("", deepest)]) from None
    except (ValueError, ArithmeticError) as error:
        message = str(error) if isinstance(error, _NoNumber) else "A number is beyond any measurement."
        raise NotJson([_fault(message, "Send numbers that can be measured.")]) from None
    if not repeated and text.isascii() and "\\u" not in text and text.count("[") + text.count("{") <= DEEPEST:
        return value  # nothing that the walk looks for can be in it
    faults: list[Diagnostic] = []
    _walk(value, (), faults, repeated, deepest)
    if faults:
        raise NotJson(faults)
    return value


def _refuse_constant(name: str) -> None:
    raise _NoNumber(f"{name} is not a JSON number.")


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise _KeyTwiceError
    return found


def _marked(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = _Repeated(pairs)
    times = Counter(name for name, _ in pairs)
    found.keys_twice = tuple(sorted(name for name, count in times.items() if count > 1))
    return found


# Made once, because making a decoder takes a fifth of the time that reading a request takes.
_PLAIN, _MARKING = (
    json.JSONDecoder(parse_float=Decimal, parse_constant=_refuse_constant, object_pairs_hook=hook)
    for hook in (_unique, _marked)
)


def _walk(
    value: Any, steps: tuple[str | int, ...], faults: list[Diagnostic], repeated: bool, deepest: int
) -> None:
    """Names duplicate keys, text that cannot be encoded, and nesting beyond what any request needs."""
    if len(steps) > deepest:
        faults.append(_too_deep(pointer(*steps[:3]), deepest))
        return
    match value:
        case str():
            if not value.isascii() and any("\ud800" <= letter <= "\udfff" for letter in value):
                faults.append(
                    _fault("Half of a surrogate pair is no character.", "Send whole characters.", steps)
                )
        case dict():
            if repeated and isinstance(value, _Repeated):
                for name in value.keys_twice:
                    where = (*steps, _clean(name))
                    faults.append(
                        _fault(f"The key `{_clean(name)[:60]}` stands twice.", "Send each key once.", where)
                    )
            for name, item in value.items():
                if not name.isascii() and name != _clean(name):
                    faults.append(
                        _fault("A key holds half of a surrogate pair.", "Send whole characters.", steps)
                    )
                    continue
                if item.__class__ not in (int, bool, Decimal):
                    _walk(item, (*steps, name), faults, repeated, deepest)
        case list():
            for place, item in enumerate(value):
                if item.__class__ not in (int, bool, Decimal):
                    _walk(item, (*steps, place), faults, repeated, deepest)


def _clean(name: str) -> str:
    return name.encode("utf-8", "replace").decode("utf-8")


def _fault(message: str, advice: str, steps: tuple[str | int, ...] = ()) -> Diagnostic:
    return Diagnostic("not-json", message, advice, pointer(*steps))


def _too_deep(where: str, deepest: int) -> Diagnostic:
    return Diagnostic(
        "not-json", f"Values are nested more than {deepest} deep.", "Send a flatter value.", where
    )
