"""In which order editions are loaded: each after the one it is based on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from limbtier.rulesets.findings import Findings, Placed
from limbtier.rulesets.nodes import shown
from limbtier.rulesets.shapes import choose, odd_letter


def order_of_bases(bases: Mapping[str, str | None]) -> tuple[list[str], dict[str, list[str]]]:
    """The editions in order, and for each that hangs in a ring the ring, beginning and ending with it.

    `bases` has for every edition the one it is based on, None for none; one that is not there counts as none.
    """
    order: dict[str, None] = {}
    rings: dict[str, list[str]] = {}
    for start in bases:
        path: dict[str, None] = {}
        at: str | None = start
        while at is not None and at in bases and at not in order and at not in path:
            path[at] = None
            at = bases[at]
        if at in path:
            ring = list(path)[list(path).index(at) :]
            for place, one in enumerate(ring):
                rings[one] = [*ring[place:], *ring[: place + 1]]
        order.update(dict.fromkeys(reversed(path)))
    return list(order), rings


def name_unknown_base(base: Placed[str], known: Iterable[str], found: Findings) -> None:
    """Name an edition that is not there and that another is based on."""
    message = f"There is no edition `{shown(base.value)}` to be based on."
    advice = choose(base.value, known)
    found.add("base-unknown", base.place, message, f"{odd_letter(base.value)}{advice}")
