"""The interpreter made fast: all rules of an edition compiled once into one Python function.

Inside the function a truth is two bits, 1 for "applies" and 2 for "possible": 0 does not hold,
2 undetermined, 3 holds. AND and OR are then `&` and `|`. Each distinct test is read once.
The function is generated from the condition tree; names and values enter it as constants of a
table, never as source text.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from limbtier.domain.assessment import Answer
from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, Test, ValueTest, tests
from limbtier.domain.rule import Rule

Reading = tuple[bytes, bytes, dict[str, Answer]]
_TO_STATE = bytes([0, 0, 1, 2]) + bytes(252)
_NEGATED = (3, 3, 2, 0)


@dataclass(frozen=True, slots=True)
class CompiledRules:
    """`read(facts)` gives a byte for each condition, one for each test of `tests`, and the derived facts."""

    tests: tuple[Test, ...]
    read: Callable[[Mapping[str, Answer]], Reading]


def compile_rules(rules: Sequence[Rule], strata: Sequence[int]) -> CompiledRules:
    """Compile rules that stand in strata order (`strata[i]` belongs to `rules[i]`)."""
    classified = {name for rule in rules for name in rule.then.classify}
    ready_after: dict[str, int] = {}
    for place, rule in enumerate(rules):
        for name in rule.then.classify:
            ready_after[name] = max(ready_after.get(name, 0), strata[place])
    writer = _Writer(classified)
    lines: list[str] = []
    for stratum in range(max(strata, default=0) + 1):
        for place, rule in enumerate(rules):
            if strata[place] != stratum:
                continue
            lines += writer.tests_for(rule.when)
            lines.append(f"    r{place} = {writer.expression(rule.when)}")
        for name in sorted(name for name in classified if ready_after[name] == stratum):
            parts = " | ".join(f"r{p}" for p, rule in enumerate(rules) if name in rule.then.classify)
            slot = writer.slot(name)
            lines += [
                f"    f = {parts}",
                f"    a{slot} = YES if f == 3 else None if f else NO",
                f"    if a{slot} is not None: derived[C[{slot}]] = a{slot}",
            ]
    return writer.finish(lines, len(rules))


def compile_conditions(conditions: Sequence[Condition]) -> CompiledRules:
    """Compile conditions alone, in the order given; nothing is derived."""
    writer = _Writer(set())
    lines: list[str] = []
    for place, condition in enumerate(conditions):
        lines += writer.tests_for(condition)
        lines.append(f"    r{place} = {writer.expression(condition)}")
    return writer.finish(lines, len(conditions))


class _Writer:
    """Collects the constants and lines of one generated function."""

    def __init__(self, derived: set[str]) -> None:
        self._derived = derived
        self._constants: list[object] = []
        self._slots: dict[str, int] = {}
        self._places: dict[Test, int] = {}

    def _constant(self, value: object) -> int:
        self._constants.append(value)
        return len(self._constants) - 1

    def slot(self, name: str) -> int:
        if name not in self._slots:
            self._slots[name] = self._constant(name)
        return self._slots[name]

    def tests_for(self, condition: Condition) -> list[str]:
        """Lines that read the tests of this condition that no earlier condition has read."""
        lines: list[str] = []
        fresh: dict[str, list[Test]] = {}
        for test in tests(condition):
            if test not in self._places and test not in fresh.get(test.name, []):
                fresh.setdefault(test.name, []).append(test)
        for name, group in fresh.items():
            if name not in self._slots:
                slot = self.slot(name)
                if name not in self._derived:
                    lines.append(f"    a{slot} = get(C[{slot}])")
            lines += self._read_group(self.slot(name), group)
        return lines

    def _read_group(self, slot: int, group: list[Test]) -> list[str]:
        for test in group:
            self._places[test] = len(self._places)
        variables = " = ".join(f"t{self._places[test]}" for test in group)
        values = [test for test in group if isinstance(test, ValueTest)]
        edges = [test for test in group if isinstance(test, EdgeTest)]
        lines = [f"    if a{slot} is None: {variables} = 2", f"    elif a{slot}.__class__ is str:"]
        for test in values:
            if len(test.values) == 1:
                found = f"a{slot} == C[{self._constant(test.values[0])}]"
            else:
                found = f"a{slot} in C[{self._constant(test.values)}]"
            lines.append(f"        t{self._places[test]} = 3 if {found} else 0")
        lines += [f"        t{self._places[test]} = 0" for test in edges]
        if edges:
            lines += [f"    elif a{slot}.__class__ is Fraction:"]
            lines += [f"        n = a{slot}.numerator", f"        d = a{slot}.denominator"]
            lines += [f"        t{self._places[test]} = 0" for test in values]
            lines += [f"        t{self._places[test]} = 3 if {self._within(test)} else 0" for test in edges]
        lines.append(f"    else: {variables} = 0")
        return lines

    def _within(self, test: EdgeTest) -> str:
        """Exact comparison of n/d with each edge by whole-number cross multiplication."""
        found = []
        for edge, sign in ((test.at_least, ">="), (test.above, ">"), (test.at_most, "<="), (test.below, "<")):
            if edge is not None:
                found.append(f"n * {edge.denominator:d} {sign} {edge.numerator:d} * d")
        return " and ".join(found) or "True"

    def expression(self, condition: Condition) -> str:
        match condition:
            case ValueTest() | EdgeTest():
                return f"t{self._places[condition]}"
            case AllOf(parts):
                return "(" + " & ".join(self.expression(part) for part in parts) + ")" if parts else "3"
            case AnyOf(parts):
                return "(" + " | ".join(self.expression(part) for part in parts) + ")" if parts else "0"
            case NoneOf(parts):
                inner = " | ".join(self.expression(part) for part in parts) if parts else "0"
                return f"N[{inner}]"

    def finish(self, lines: list[str], count: int) -> CompiledRules:
        rules = ", ".join(f"r{place}" for place in range(count)) + ("," if count else "")
        read = ", ".join(f"t{place}" for place in range(len(self._places))) + ("," if self._places else "")
        source = "\n".join(
            [
                "def read(facts):",
                "    get = facts.get",
                "    derived = {}",
                *lines,
                f"    return bytes(({rules})).translate(TO), bytes(({read})).translate(TO), derived",
            ]
        )
        scope: dict[str, object] = {
            "C": tuple(self._constants),
            "N": _NEGATED,
            "TO": _TO_STATE,
            "YES": "yes",
            "NO": "no",
            "Fraction": Fraction,
        }
        exec(compile(source, "<compiled rules>", "exec"), scope)  # noqa: S102 - the source holds no outside text
        return CompiledRules(tuple(self._places), scope["read"])  # type: ignore[arg-type]
