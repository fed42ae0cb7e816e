"""A limit that reads a number which may be "not done", and no rule says what then."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.condition import EdgeTest, ValueTest, tests
from limbtier.domain.edition import Edition
from limbtier.foundation.answer_states import NOT_DONE
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context
from limbtier.measures.registry import MEASURES


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Inputs that may be not done, whose edges hold a tier down, and of which no rule tests `not_done`."""
    behind = _inputs_behind_measures()
    held_by: dict[str, set[str]] = {}
    treated: set[str] = set()
    for rule in edition.rules:
        for test in tests(rule.when):
            inputs = behind.get(test.name, frozenset({test.name}))
            if isinstance(test, EdgeTest) and rule.then.limit is not None:
                for name in inputs:
                    held_by.setdefault(name, set()).add(rule.id)
            if isinstance(test, ValueTest) and (NOT_DONE in test.values or test.name in behind):
                treated |= inputs
    for name, entry in edition.vocabulary.inputs.items():
        if entry.may_be_not_done and name in held_by and name not in treated:
            rules = ", ".join(f"`{rule}`" for rule in sorted(held_by[name]))
            message = (
                f"No rule treats `{name}: not_done`, and {rules} hold{_s(held_by[name])} a tier down by it."
            )
            advice = "Say in a rule what follows when it was not measured, be it only a caution."
            yield Finding("input", name, message, advice)


def _s(rules: set[str]) -> str:
    return "s" if len(rules) == 1 else ""


def _inputs_behind_measures() -> dict[str, frozenset[str]]:
    """The inputs that each measure is computed from."""
    found: dict[str, frozenset[str]] = {}
    for measure in MEASURES:
        parts = (found.get(name, frozenset({name})) for name in measure.ingredients)
        found[measure.name] = frozenset().union(*parts)
    return found


CHECK: Final = Check(
    id="unmeasured-not-treated",
    title='A limit on a number that may be "not done"',
    explanation=Explanation(
        finds="A limit that compares a number with an edge, where the number may be answered `not_done` "
        "and no rule tests that, nor a kind of result computed from it.",
        why="Every edge is false on `not_done`. Whoever did not measure meets no limit, as if the "
        "number were good.",
        mend="Add a rule on `not_done`: a limit, an arrangement, or a caution that says what is not "
        "known. If nothing follows on purpose, suppress the finding and say why.",
        example="`weight_gain_kg_over_2_days: {at_least: 1}` withholds; nobody weighed, and no rule says "
        "anything.",
    ),
    severity="warning",
    find=find,
)
