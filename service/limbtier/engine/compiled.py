"""The interpreter made fast: all rules of an edition compiled once into one Python function.

Inside the function a truth is two bits, 1 for "applies" and 2 for "possible": 0 does not hold,
2 undetermined, 3 holds. AND and OR are then `&` and `|`. Each distinct test is read once.
The function is generated from the condition tree; names and values enter it as constants of a
table, never as source text.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
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
    ready_after: dict[str, int] = {}
    for place, rule in enumerate(rules):
        for name in rule.then.classify:
            ready_after[name] = max(ready_after.get(name, 0), strata[place])
    writer = _Writer([rule.when for rule in rules], ready_after.keys())
    for stratum in range(max(strata, default=0) + 1):
        for place, rule in enumerate(rules):
            if strata[place] == stratum:
                writer.read_condition(place, rule.when)
        for name in sorted(name for name, after in ready_after.items() if after == stratum):
            writer.derive(name, [place for place, rule in enumerate(rules) if name in rule.then.classify])
    return writer.finish(len(rules))


def compile_conditions(conditions: Sequence[Condition]) -> CompiledRules:
    """Compile conditions alone, in the order given; nothing is derived."""
    writer = _Writer(conditions, ())
    for place, condition in enumerate(conditions):
        writer.read_condition(place, condition)
    return writer.finish(len(conditions))


class _Writer:
    """Collects the constants and lines of one generated function.

    All tests of one name are read together: a text meets them by one look into a table, a number by
    comparison with their edges.
    """

    def __init__(self, conditions: Iterable[Condition], derived: Collection[str]) -> None:
        self._constants: dict[str, object] = {}
        self._groups: dict[str, list[Test]] = {}
        for test in dict.fromkeys(test for condition in conditions for test in tests(condition)):
            self._groups.setdefault(test.name, []).append(test)
        ordered = [test for group in self._groups.values() for test in group]
        self._places = {test: place for place, test in enumerate(ordered)}
        self._lines: list[str] = []
        for name, group in self._groups.items():
            if name not in derived:
                self._read_group(f"get({self._constant(name)})", group)

    def _constant(self, value: object) -> str:
        name = f"C{len(self._constants)}"
        self._constants[name] = value
        return name

    def _read_group(self, answer: str, group: list[Test]) -> None:
        """Lines that read all tests of one name, whose answer the expression `answer` gives."""
        variables = ", ".join(f"t{self._places[test]}" for test in group)
        edges = [test for test in group if isinstance(test, EdgeTest)]
        if edges:
            self._lines += [f"    a = {answer}", "    if a.__class__ is Fraction:"]
            self._lines += ["        n, d = a.as_integer_ratio()"]
            self._lines += [
                f"        t{self._places[test]} = {f'3 if {_within(test)} else 0' if test in edges else 0}"
                for test in group
            ]
            self._lines += [f"    else: {variables} = {self._look_up(group)}(a, {self._all(0, group)})"]
        else:
            self._lines.append(f"    {variables} = {self._look_up(group)}({answer}, {self._all(0, group)})")

    def _look_up(self, group: list[Test]) -> str:
        """A table of how the tests read each text that any of them names, and what was not recorded."""
        named = [value for test in group if isinstance(test, ValueTest) for value in test.values]
        table: dict[str | None, object] = {None: self._bits(2, group)}
        for value in named:
            met = tuple(3 if isinstance(test, ValueTest) and value in test.values else 0 for test in group)
            table[value] = met if len(group) > 1 else met[0]
        return self._constant(table.get)

    def _bits(self, bits: int, group: list[Test]) -> object:
        return (bits,) * len(group) if len(group) > 1 else bits

    def _all(self, bits: int, group: list[Test]) -> str:
        return self._constant(self._bits(bits, group)) if len(group) > 1 else str(bits)

    def read_condition(self, place: int, condition: Condition) -> None:
        """Read one condition; every derived fact that it reads must have been derived."""
        self._lines.append(f"    r{place} = {self._expression(condition)}")

    def derive(self, name: str, places: Sequence[int]) -> None:
        """Derive a fact from the conditions that classify it, and read the tests of it."""
        self._lines += [
            f"    f = {' | '.join(f'r{place}' for place in places)}",
            "    f = YES if f == 3 else None if f else NO",
            f"    if f is not None: derived[{self._constant(name)}] = f",
        ]
        if name in self._groups:
            self._read_group("f", self._groups[name])

    def _expression(self, condition: Condition) -> str:
        match condition:
            case ValueTest() | EdgeTest():
                return f"t{self._places[condition]}"
            case AllOf(parts):
                return "(" + " & ".join(self._expression(part) for part in parts) + ")" if parts else "3"
            case AnyOf(parts):
                return "(" + " | ".join(self._expression(part) for part in parts) + ")" if parts else "0"
            case NoneOf(parts):
                inner = " | ".join(self._expression(part) for part in parts) if parts else "0"
                return f"N[{inner}]"

    def finish(self, count: int) -> CompiledRules:
        """The function."""
        rules = ", ".join(f"r{place}" for place in range(count)) + ("," if count else "")
        read = ", ".join(f"t{place}" for place in range(len(self._places))) + ("," if self._places else "")
        source = "\n".join(
            [
                "def read(facts):",
                "    get = facts.get",
                "    derived = {}",
                *self._lines,
                f"    return bytes(({rules})).translate(TO), bytes(({read})).translate(TO), derived",
            ]
        )
        scope: dict[str, object] = {
            **self._constants,
            "N": _NEGATED,
            "TO": _TO_STATE,
            "YES": "yes",
            "NO": "no",
            "Fraction": Fraction,
        }
        exec(compile(source, "<compiled rules>", "exec"), scope)  # noqa: S102 - the source holds no outside text
        return CompiledRules(tuple(self._places), scope["read"])  # type: ignore[arg-type]


def _within(test: EdgeTest) -> str:
    """Exact comparison of n/d with each edge by whole-number cross multiplication."""
    found = []
    for edge, sign in ((test.at_least, ">="), (test.above, ">"), (test.at_most, "<="), (test.below, "<")):
        if edge is not None:
            found.append(f"n * {edge.denominator:d} {sign} {edge.numerator:d} * d")
    return " and ".join(found) or "True"
