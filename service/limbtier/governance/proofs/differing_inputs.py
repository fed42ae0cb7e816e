"""Questions that two editions ask differently, and requests that can be given to both."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction

from limbtier.domain.vocabulary import Input, Range, Vocabulary
from limbtier.governance.proofs.requests import Domain, Request
from limbtier.governance.proofs.terms import unsupported


def request_for_both(before: Vocabulary, after: Vocabulary, domain: Domain) -> Request:
    """An answer to every question of either edition, in all forms that either takes."""
    entries = dict(before.inputs)
    for name, entry in after.inputs.items():
        entries[name] = _either(entries[name], entry) if name in entries else entry
    return {name: domain.answer(entry) for name, entry in entries.items()}


def _either(one: Input, other: Input) -> Input:
    if one.kind != other.kind or one.scope != other.scope:
        raise unsupported(f"`{one.name}` is of another kind or scope in the other edition.")
    if (one.choices, one.range, one.places, one.may_be_not_done) == (
        other.choices,
        other.range,
        other.places,
        other.may_be_not_done,
    ):
        return other
    choices = {choice.value: choice for choice in (*one.choices, *other.choices)}
    return replace(
        other,
        choices=tuple(choices.values()),
        may_be_not_done=one.may_be_not_done or other.may_be_not_done,
        range=Range(
            _open_or(min, one.range.at_least, other.range.at_least),
            _open_or(max, one.range.at_most, other.range.at_most),
        ),
        places=max(one.places, other.places),
    )


def _open_or(
    choose: Callable[[Fraction, Fraction], Fraction], one: Fraction | None, other: Fraction | None
) -> Fraction | None:
    """The one of two edges to choose; None, which is open, where either is."""
    return None if one is None or other is None else choose(one, other)


def unlike_inputs(before: Vocabulary, after: Vocabulary) -> tuple[str, ...]:
    """Every question that the editions ask differently, as far as answers go, in plain words."""
    return tuple(_unlike(before, after))


def _unlike(before: Vocabulary, after: Vocabulary) -> Iterator[str]:
    for name in before.inputs:
        if name not in after.inputs:
            yield f"`{name}` is no longer asked."
    for name, entry in after.inputs.items():
        earlier = before.inputs.get(name)
        if earlier is None:
            yield f"`{name}` is asked anew."
            continue
        if gone := [word for word in earlier.values() if word not in entry.values()]:
            yield f"`{name}` no longer takes {', '.join(gone)}."
        if new := [word for word in entry.values() if word not in earlier.values()]:
            yield f"`{name}` now takes {', '.join(new)}."
        if (earlier.range, earlier.places) != (entry.range, entry.places):
            yield f"`{name}` takes another range of numbers."
        if earlier.asked_when != entry.asked_when:
            yield f"`{name}` is asked under another condition."
