"""Reads the parts of an HTTP request that a resource uses, strictly: its body and its query."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from types import MappingProxyType
from typing import Final

from fastapi import Request

from limbtier.api.errors import BodyTooLarge, InvalidQuery, MalformedRequest, UnsupportedMediaType
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean

JSON: Final = MappingProxyType({"application/json": frozenset({"charset=utf-8"})})
"""Plain JSON, and the parameters that its media type may carry."""


async def read_json_body(
    request: Request, most_bytes: int, media_types: Mapping[str, Collection[str]] = JSON
) -> bytes:
    """The bytes of a body declared as JSON, at most `most_bytes` of them. `media_types` are those taken, the
    first is advised.

    A longer body is refused on its declared length before any of it is read, or as soon as it has grown too
    long. Raises UnsupportedMediaType, MalformedRequest or BodyTooLarge.
    """
    headers = request.headers
    _refuse_other_media(
        headers.getlist("content-type"), headers.get("content-encoding", "identity"), media_types
    )
    declared = headers.get("content-length")
    if declared is not None:
        if not (declared.isascii() and declared.isdigit()):
            advice = "Send the number of bytes of the body, or no Content-Length at all."
            raise MalformedRequest([Diagnostic("bad-header", "Content-Length is no number.", advice)])
        if len(declared) > 18 or int(declared) > most_bytes:
            raise _too_large(most_bytes)
    pieces: list[bytes] = []
    length = 0
    async for piece in request.stream():
        length += len(piece)
        if length > most_bytes:
            raise _too_large(most_bytes)
        pieces.append(piece)
    return b"".join(pieces)


def _refuse_other_media(
    content_types: list[str], encoding: str, media_types: Mapping[str, Collection[str]]
) -> None:
    if encoding.strip().lower() != "identity":
        advice = "Send it uncompressed, without Content-Encoding."
        raise UnsupportedMediaType([Diagnostic("unsupported-encoding", "The body is compressed.", advice)])
    kind, *parameters = content_types[0].split(";") if len(content_types) == 1 else ("",)
    taken = media_types.get(kind.strip().lower())
    given = [one.strip().lower().replace('"', "") for one in parameters]
    if taken is None or not all(one in taken for one in given if one or len(given) > 1):
        raise UnsupportedMediaType(
            [
                Diagnostic(
                    "unsupported-media-type",
                    "The body is not declared as JSON in UTF-8."
                    if content_types
                    else "The request does not say what its body is.",
                    f"Send the header `Content-Type: {next(iter(media_types))}`.",
                )
            ]
        )


def _too_large(most_bytes: int) -> BodyTooLarge:
    message = f"The body is longer than {most_bytes} bytes."
    return BodyTooLarge([Diagnostic("body-too-large", message, "Send one assessment a request.")])


def read_query(request: Request, known: Collection[str] = ()) -> dict[str, str]:
    """The query parameters, each at most once. Raises InvalidQuery that names every bad one.

    One that is unknown is refused: left unread, it could give an answer to another question than was asked.
    """
    found: dict[str, str] = {}
    faults: dict[tuple[str, str], Diagnostic] = {}
    for name, value in request.query_params.multi_items():
        shown = "".join(letter if letter.isprintable() else "?" for letter in name[:60])
        if name not in known:
            advice = did_you_mean(name[:60], known, "Remove it.")
            message = f"There is no query parameter `{shown}` here."
            faults[name, "unknown"] = Diagnostic("unknown-parameter", message, advice)
        elif name in found:
            message = f"The query parameter `{shown}` stands more than once."
            faults[name, "repeated"] = Diagnostic("repeated-parameter", message, "Give it once.")
        found[name] = value
    if faults:
        raise InvalidQuery(list(faults.values()))
    return found
