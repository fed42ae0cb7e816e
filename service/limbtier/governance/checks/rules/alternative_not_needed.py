"""An alternative that another one covers, or that what stands beside it makes certain."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from limbtier.domain.condition import AllOf, AnyOf, Condition, NoneOf
from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.condition_words import condition_words
from limbtier.governance.checks.conditions import implies
from limbtier.governance.checks.context import Context


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Alternatives of `any_of` and parts of `none_of` that add nothing, by their structure."""
    for rule in edition.rules:
        for what in _idle(rule.when):
            yield about_rule(rule, what, "Take out what adds nothing, or correct the test that was meant.")


def _idle(condition: Condition) -> Iterator[str]:
    match condition:
        case AllOf(parts):
            for place, part in enumerate(parts):
                beside = AllOf((*parts[:place], *parts[place + 1 :]))
                if isinstance(part, AnyOf):
                    for one in part.parts:
                        if implies(beside, one):
                            words = condition_words(one)
                            yield f"`any_of` always holds here: {words} follows from what stands beside it."
                yield from _idle(part)
        case AnyOf(parts) | NoneOf(parts):
            for place, part in enumerate(parts):
                for other_place, other in enumerate(parts):
                    twice = implies(other, part) and other_place > place
                    if place != other_place and implies(part, other) and not twice:
                        yield f"{condition_words(part)} adds nothing: {condition_words(other)} covers it."
                        break
                yield from _idle(part)
        case _:
            return


CHECK: Final = Check(
    id="alternative-not-needed",
    title="An alternative that another covers",
    explanation=Explanation(
        finds="In one rule: an entry of `any_of` or `none_of` that a wider entry of the same list covers, "
        "or an `any_of` of which an entry follows from the tests beside it.",
        why="It looks as if something were tested, and nothing is. Often an edge or a value was mistyped.",
        mend="Take the entry out, or correct the test that was meant.",
        example="`any_of: [{ankle_pressure: {below: 60}}, {ankle_pressure: {below: 50}}]`.",
    ),
    severity="error",
    find=find,
)
