"""Canonical JSON (RFC 8785): one sequence of bytes for one value, so that it can be hashed and signed.

What is written goes through a library; what is read is checked by a fast reading of our own, valid for the
profile of entries only: names of members are ASCII, numbers are whole and within 2^53 - 1. (A measured
number is a text there, because 1.30 and 1.3 would become the same bytes.) The tests hold the two together.
"""

from __future__ import annotations

from typing import Any, Final

import orjson
import rfc8785

from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import LimbtierError

MOST_INTEGER: Final = 2**53 - 1
_SORTED: Final = orjson.OPT_SORT_KEYS | orjson.OPT_STRICT_INTEGER


class NotCanonical(LimbtierError):
    """The value has no canonical form, or the bytes are not the canonical form of their value."""

    code = "not-canonical"


def canonical(value: Any) -> bytes:
    """The canonical form of a JSON value. Raises NotCanonical where there is none (NaN, whole numbers beyond
    2^53 - 1, texts with lone surrogates, what is no JSON value)."""
    try:
        return rfc8785.dumps(value)
    except rfc8785.CanonicalizationError as error:
        raise _refusal(f"The value has no canonical form: {error}.") from None
    except RecursionError:
        raise _refusal("The value is nested too deeply.") from None


def read_canonical(data: bytes) -> Any:
    """The value of bytes that are its canonical form, within the profile of entries. Raises NotCanonical."""
    try:
        value = orjson.loads(data)
    except orjson.JSONDecodeError as error:
        raise _refusal(_no_json(data, error)) from None
    try:
        same = orjson.dumps(value, option=_SORTED) == data
    except TypeError as error:  # an integer beyond 2^53 - 1, or nesting beyond 254 levels
        raise _refusal(f"The value is outside the profile of entries: {error}.") from None
    if not same:
        raise _refusal("The bytes are JSON, but not in the canonical form of RFC 8785.")
    if not _within_profile(value):
        raise _refusal("A number is not whole, or the name of a member is not ASCII.")
    return value


def is_canonical(data: bytes) -> bool:
    """Whether the bytes are the canonical form of a value within the profile of entries."""
    try:
        read_canonical(data)
    except NotCanonical:
        return False
    return True


def _no_json(data: bytes, error: orjson.JSONDecodeError) -> str:
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as encoding:
        return f"Byte {encoding.start} is not UTF-8."
    return f"The bytes are no JSON text: {error}."


def _within_profile(value: Any) -> bool:
    """Whether no number has places and no name is beyond ASCII. Most values are texts, so they are passed
    over before anything is called for them; plain loops take half the time of generators here."""
    kind = type(value)
    if kind is dict:
        for name in value:
            if not name.isascii():
                return False
        value = value.values()
    elif kind is not list:
        return kind is not float
    for one in value:  # noqa: SIM110 - see above
        if type(one) is not str and not _within_profile(one):
            return False
    return True


def _refusal(message: str) -> NotCanonical:
    return NotCanonical(
        [
            Diagnostic(
                "not-canonical", message, "Write it as RFC 8785 says; write numbers with places as texts."
            )
        ]
    )
