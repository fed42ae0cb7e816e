"""The matcher against Kleene's logic, written here once more, and against the traps of its library."""

from __future__ import annotations

import gc
import random
import sys
import threading
from collections.abc import Iterator, Mapping
from datetime import date
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbtier.domain.assessment import Answer
from limbtier.domain.condition import ALWAYS, AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.domain.rule import Conclusions, Rule
from limbtier.engine import matcher as matcher_module
from limbtier.engine.matcher import Matcher, MatcherPool
from limbtier.engine.matcher_network import MOST_WAITING, Network, name_hash
from limbtier.foundation.errors import EnginesDisagree
from tests.support.conditions import conditions, facts

Facts = Mapping[str, Answer]
NO, UNDETERMINED, YES = 0, 1, 2
TINY = Fraction(1, 10**9)


def reference(condition: Condition, known: Facts) -> int:
    """Strong Kleene logic by its truth tables: AND is the least, OR the greatest, NOT turns round."""
    match condition:
        case AllOf(parts):
            return min([reference(part, known) for part in parts] + [YES])
        case AnyOf(parts):
            return max([reference(part, known) for part in parts] + [NO])
        case NoneOf(parts):
            return min([YES - reference(part, known) for part in parts] + [YES])
        case ValueTest(name, values):
            if name not in known:
                return UNDETERMINED
            return YES if any(known[name] == value for value in values) else NO
        case EdgeTest(name, at_least, above, at_most, below):
            if name not in known:
                return UNDETERMINED
            number = known[name]
            if not isinstance(number, Fraction):
                return NO
            low = all([at_least is None or at_least <= number, above is None or above < number])
            high = all([at_most is None or number <= at_most, below is None or number < below])
            return YES if low and high else NO


def rules_of(*when: Condition) -> list[Rule]:
    return [Rule(f"r-{i}", "", one, Conclusions(), "", (), "", "rules.yaml", i) for i, one in enumerate(when)]


def read(condition: Condition, known: Facts) -> int:
    return Matcher(rules_of(condition)).match(known)[0]


def expected(rules: list[Rule], known: Facts) -> bytes:
    return bytes(reference(rule.when, known) for rule in rules)


# --- against the reference


@settings(max_examples=150)
@given(st.lists(conditions(), max_size=6), st.lists(facts, min_size=1, max_size=8))
def test_the_matcher_reads_every_rule_as_kleene_logic_does(when: list[Condition], seen: list[Facts]) -> None:
    rules = rules_of(*when)
    matcher = Matcher(rules)
    for known in seen:
        assert matcher.match(known) == expected(rules, known)


class Maker:
    """Invented rules and facts of one seed: few names, so that conditions are shared and contradict."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.names = [f"name_{i}" for i in range(self.random.randint(2, 40))]
        self.edges = {name: [self._number() for _ in range(self.random.randint(1, 6))] for name in self.names}
        self.values = {
            name: [f"value_{i}" for i in range(self.random.randint(1, 8))] + ["not_done"]
            for name in self.names
        }

    def _number(self) -> Fraction:
        return Fraction(self.random.randint(-300, 3000), self.random.choice([1, 10, 100, 7]))

    def test(self) -> Condition:
        name = self.random.choice(self.names)
        if self.random.random() < 0.6:
            return ValueTest(name, tuple(self.random.sample(self.values[name], self.random.randint(1, 2))))
        low, high = sorted(self.random.choices(self.edges[name], k=2))
        which = self.random.randint(0, 3)
        return EdgeTest(
            name,
            at_least=low if which == 0 else None,
            above=low if which == 1 else None,
            at_most=high if which in {1, 2} else None,
            below=high if which in {0, 3} else None,
        )

    def condition(self, depth: int = 2) -> Condition:
        if not depth or self.random.random() < 0.4:
            return self.test()
        parts = tuple(self.condition(depth - 1) for _ in range(self.random.randint(1, 3)))
        all_of: Condition = AllOf(parts)
        return self.random.choice([all_of, all_of, AnyOf(parts), NoneOf(parts)])

    def rules(self) -> list[Rule]:
        when = [self.condition() for _ in range(self.random.randint(1, 150))]
        return rules_of(*(self.random.choice(when) if self.random.random() < 0.1 else one for one in when))

    def answer(self, name: str) -> Answer:
        edge = self.random.choice(self.edges[name])
        numbers: list[Answer] = [edge, edge + self.random.choice([TINY, -TINY]), self._number()]
        texts = self.random.choices([*self.values[name], "not_asked", "another value"], k=4)
        return self.random.choice([*numbers, *texts])

    def facts(self) -> dict[str, Answer]:
        kept = self.random.choice([0.0, 0.3, 0.8, 1.0])
        return {name: self.answer(name) for name in self.names if self.random.random() < kept}


@settings(max_examples=20)
@given(st.integers(0, 2**48))
def test_long_lists_of_rules_read_as_kleene_logic_does(seed: int) -> None:
    maker = Maker(seed)
    rules = maker.rules()
    matcher = Matcher(rules)
    for _ in range(15):
        known = maker.facts()
        assert matcher.match(known) == expected(rules, known)


@pytest.mark.parametrize("condition", [ALWAYS, AnyOf(()), NoneOf(()), NoneOf((ALWAYS,)), ValueTest("a", ())])
@pytest.mark.parametrize("known", [{}, {"a": "x"}])
def test_conditions_without_tests_have_a_meaning(condition: Condition, known: Facts) -> None:
    assert read(condition, known) == reference(condition, known)


def test_without_rules_nothing_applies() -> None:
    assert Matcher([]).match({"a": "x"}) == b""


def test_a_contradiction_is_undetermined_as_long_as_nothing_is_recorded() -> None:
    """Test by test logic does not see that two tests exclude one another."""
    both = AllOf((ValueTest("a", ("x",)), ValueTest("a", ("y",))))
    either = AnyOf((ValueTest("a", ("x",)), NoneOf((ValueTest("a", ("x",)),))))
    assert [read(both, {}), read(both, {"a": "x"})] == [UNDETERMINED, NO]
    assert [read(either, {}), read(either, {"a": "x"})] == [UNDETERMINED, YES]


# --- exact edges and states


@pytest.mark.parametrize(
    "edge", [Fraction("0.8"), Fraction(0), Fraction("1.3"), Fraction(-1, 3), Fraction(10**20)]
)
@pytest.mark.parametrize("beside", [Fraction(0), TINY, -TINY, Fraction(1, 10**40), -Fraction(1, 10**40)])
@pytest.mark.parametrize("side", ["at_least", "above", "at_most", "below"])
def test_a_number_on_or_beside_an_edge_is_told_exactly(edge: Fraction, beside: Fraction, side: str) -> None:
    condition = EdgeTest("ratio", **{side: edge})
    assert read(condition, {"ratio": edge + beside}) == reference(condition, {"ratio": edge + beside})


def test_the_ratio_112_to_140_is_on_the_edge_0_8() -> None:
    """In binary floating point 112/140 is 0.8 as well, but 0.1 + 0.7 is not; fractions decide."""
    rules = rules_of(EdgeTest("abpi", at_least=Fraction("0.8")), EdgeTest("abpi", below=Fraction("0.8")))
    assert Matcher(rules).match({"abpi": Fraction(112, 140)}) == bytes([YES, NO])
    assert Matcher(rules).match({"abpi": Fraction(1119999999, 1400000000)}) == bytes([NO, YES])


@pytest.mark.parametrize(
    "answer", ["not_done", "not_asked", "7", date(2026, 3, 2), (Fraction(7), Fraction(8))]
)
def test_what_is_no_number_lies_within_no_edges(answer: Answer) -> None:
    edges = EdgeTest("a", at_least=Fraction(7))
    assert read(edges, {"a": answer}) == NO
    assert read(NoneOf((edges,)), {"a": answer}) == YES


@pytest.mark.parametrize("answer", [Fraction(7), date(2026, 3, 2), (Fraction(7), Fraction(8)), "", "other"])
def test_what_is_no_named_text_meets_no_value_test(answer: Answer) -> None:
    test = ValueTest("a", ("7", "2026-03-02", "not_done"))
    assert read(test, {"a": answer}) == NO


def test_not_done_meets_only_a_value_test_that_names_it_and_not_asked_meets_none() -> None:
    rules = rules_of(
        ValueTest("a", ("x",)), ValueTest("a", ("not_done",)), ValueTest("a", ("x", "not_asked"))
    )
    matcher = Matcher(rules)
    assert matcher.match({"a": "not_done"}) == bytes([NO, YES, NO])
    assert matcher.match({"a": "not_asked"}) == bytes([NO, NO, NO])
    assert matcher.match({}) == bytes([UNDETERMINED] * 3)


# --- traps of the library


def test_names_with_one_hash_are_told_apart() -> None:
    """The library knows field names by a 32-bit hash only; these pairs share one."""
    for one, other in [
        ("dose_index", "current_mass"),
        ("flag_base_width", "low_class_base"),
        ("age_known_site", "count_stage_width"),
    ]:
        assert name_hash(one) == name_hash(other)
        matcher = Matcher(rules_of(ValueTest(one, ("yes",)), NoneOf((ValueTest(other, ("yes",)),))))
        assert matcher.match({one: "yes", other: "no"}) == bytes([YES, YES])
        assert matcher.match({one: "no", other: "yes"}) == bytes([NO, NO])
        assert matcher.match({other: "yes"}) == bytes([UNDETERMINED, NO])


@pytest.mark.parametrize(
    "name",
    [
        "id",
        "sid",
        "$s",
        "$and",
        "$nex",
        "$forward",
        "m",
        "g",
        "all",
        "a.b",
        "",
        'q"uote',
        "back\\slash",
        "ö",
        "\ud800",
    ],
)
def test_any_name_can_be_read(name: str) -> None:
    matcher = Matcher(rules_of(ValueTest(name, ("yes",)), ValueTest("other", ("yes",))))
    assert matcher.match({name: "yes", "other": "no"}) == bytes([YES, NO])
    assert matcher.match({name: "no"}) == bytes([NO, UNDETERMINED])


@pytest.mark.parametrize(
    ("value", "like_it"),
    [
        ("ab", "ab "),
        ("abc", "abc" + "x" * 65_536),
        ("5", "5.0"),
        ("true", "yes"),
        ("null", "none"),
        ('"', "\\u0022"),
        ("é", "e\u0301"),
        ("\ud800", "\ud801"),
        ("a\0b", "a"),
        ("", " "),
    ],
)
def test_texts_are_told_apart_whatever_they_hold(value: str, like_it: str) -> None:
    condition = ValueTest("a", (value,))
    assert [read(condition, {"a": value}), read(condition, {"a": like_it})] == [YES, NO]


def test_every_field_is_in_every_message_as_a_whole_number() -> None:
    """So neither a missing field, null, a float, the locale nor the order of texts means anything."""
    maker = Maker(11)
    encoding = Network(maker.rules()).encoding
    labels = sorted(f'"{field.label}"' for field in encoding.fields.values())
    for known in (maker.facts(), {}, dict.fromkeys(maker.names, "not_asked")):
        members = [member.split(":") for member in encoding.write(known).split(",")[1:]]
        assert sorted(label for label, _ in members) == labels
        assert all(code.isdigit() for _, code in members)


@pytest.mark.parametrize("count", [64, 65, 255, 256, 257, 300])
def test_any_number_of_rules_may_share_one_condition(count: int) -> None:
    """With 256 rules on one condition the library writes beyond its memory."""
    matcher = Matcher(rules_of(*[AllOf((ValueTest("a", ("x",)), ValueTest("b", ("y",))))] * count))
    assert matcher.match({"a": "x", "b": "y"}) == bytes([YES]) * count
    assert matcher.match({"a": "x"}) == bytes([UNDETERMINED]) * count


@pytest.mark.parametrize("shared", [True, False])
def test_the_stack_of_the_library_never_fills_up_when_everything_holds(shared: bool) -> None:
    """The library's stack has 64 places and fails on the message that needs more."""
    tests = [ValueTest(f"name_{i}", ("yes",)) for i in range(150)]
    gate = ValueTest("gate", ("open",))
    network = Network(rules_of(*(AllOf((gate, test)) if shared else test for test in tests)))
    assert network.most_waiting <= MOST_WAITING
    matcher = Matcher(network)
    assert matcher.match({"gate": "open"} | {test.name: "yes" for test in tests}) == bytes([YES]) * 150
    assert matcher.match({"gate": "open"}) == bytes([UNDETERMINED]) * 150
    assert matcher.match({}) == bytes([UNDETERMINED]) * 150


def test_a_rule_that_is_met_in_many_ways_at_once_applies_once() -> None:
    """The library fires once for every way; here 2 x 3 x 4 of them hold."""
    lists = [AnyOf(tuple(ValueTest(f"n_{k}_{i}", ("yes",)) for i in range(k))) for k in (2, 3, 4)]
    matcher = Matcher(rules_of(AllOf(tuple(lists)), lists[0]))
    known = {f"n_{k}_{i}": "yes" for k in (2, 3, 4) for i in range(k)}
    assert matcher.match(known) == bytes([YES, YES])
    assert matcher.match(known | {f"n_4_{i}": "no" for i in range(4)}) == bytes([NO, YES])


def test_a_name_with_very_many_values_or_edges_is_read_rightly() -> None:
    when: list[Condition] = [ValueTest("place", (f"place_{i}",)) for i in range(300)]
    when += [EdgeTest("age", at_least=Fraction(i), below=Fraction(i + 1)) for i in range(100)]
    rules = rules_of(*when)
    matcher = Matcher(rules)
    seen: list[Facts] = [
        {},
        {"place": "place_150"},
        {"age": Fraction("50.5")},
        {"age": Fraction(50), "place": "none"},
    ]
    for known in seen:
        assert matcher.match(known) == expected(rules, known)


# --- faults


class Library:
    """The library, with one thing going wrong at a chosen call of a chosen function."""

    def __init__(self, real: Any) -> None:
        self._real = real
        self.function = ""
        self.wrong: Any = None
        self.times = 0

    def break_(self, function: str, wrong: Any, times: int = 1) -> None:
        self.function, self.wrong, self.times = function, wrong, times

    def __getattr__(self, function: str) -> Any:
        def call(*arguments: Any) -> Any:
            if function == self.function and self.times:
                self.times -= 1
                if isinstance(self.wrong, BaseException):
                    raise self.wrong
                return self.wrong(getattr(self._real, function)(*arguments))
            return getattr(self._real, function)(*arguments)

        return call


STEPS = ("assert_fact", "start_action_for_state", "complete_and_start_action", "retract_fact")
RULES = rules_of(ValueTest("a", ("x",)), ValueTest("b", ("y",)), NoneOf((ValueTest("a", ("x",)),)))
ONE: Facts = {"a": "x", "b": "no"}
OTHER: Facts = {"a": "no"}


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> Iterator[Library]:
    fake = Library(vars(matcher_module)["library"])
    monkeypatch.setattr(matcher_module, "library", fake)
    yield fake
    fake.times = 0


def skip_one(answer: Any) -> Any:
    """As if one firing had been lost."""
    return None


WRONG_ANSWERS = {
    "assert_fact": [lambda _: (1, 0), lambda _: (2, 1)],
    "start_action_for_state": [
        skip_one,
        lambda answer: (answer[0], answer[1].replace('"g":1', '"g":2')),
        lambda answer: (answer[0], answer[1][:-2]),
        lambda answer: (answer[0], answer[1].replace('{"r":[{"', '{"r":[{"?')),
        lambda answer: (answer[0], '{"r":[]}'),
    ],
    "complete_and_start_action": [skip_one, lambda answer: answer and answer.replace('"e"', '"f"')],
    "retract_fact": [lambda _: (1, 0)],
}


@pytest.mark.parametrize("step", STEPS)
def test_an_exception_in_the_middle_of_a_decision_changes_no_answer(step: str, library: Library) -> None:
    matcher = Matcher(RULES)
    library.break_(step, RuntimeError("injected"))
    assert matcher.match(ONE) == expected(RULES, ONE)
    assert matcher.match(OTHER) == expected(RULES, OTHER)
    assert library.times == 0


@pytest.mark.parametrize(
    ("step", "wrong"), [(step, wrong) for step in STEPS for wrong in WRONG_ANSWERS[step]]
)
def test_a_wrong_answer_of_the_library_is_noticed_and_changes_no_answer(
    step: str, wrong: Any, library: Library, caplog: pytest.LogCaptureFixture
) -> None:
    matcher = Matcher(RULES)
    library.break_(step, wrong)
    assert matcher.match(ONE) == expected(RULES, ONE)
    assert "repeated on a new ruleset" in caplog.text
    assert matcher.match(OTHER) == expected(RULES, OTHER)


def test_a_firing_after_the_sentinel_is_noticed_and_changes_no_answer(
    library: Library, caplog: pytest.LogCaptureFixture
) -> None:
    matcher = Matcher(RULES)
    library.break_("complete_and_start_action", lambda answer: answer or '{"late":{}}', times=2)
    assert matcher.match(ONE) == expected(RULES, ONE)
    assert "something fired after the sentinel" in caplog.text


@pytest.mark.parametrize("step", STEPS)
def test_an_interrupt_passes_and_the_next_decision_is_right(step: str, library: Library) -> None:
    matcher = Matcher(RULES)
    library.break_(step, KeyboardInterrupt())
    with pytest.raises(KeyboardInterrupt):
        matcher.match(ONE)
    assert matcher.match(OTHER) == expected(RULES, OTHER)


@pytest.mark.parametrize("step", STEPS)
def test_a_fault_that_stays_is_refused_and_ends_with_its_cause(step: str, library: Library) -> None:
    matcher = Matcher(RULES)
    library.break_(step, RuntimeError("injected"), times=2)
    with pytest.raises(EnginesDisagree) as refused:
        matcher.match(ONE)
    assert refused.value.diagnostics[0].code == "matcher-fault"
    assert "injected" in refused.value.diagnostics[0].message
    assert matcher.match(OTHER) == expected(RULES, OTHER)


def test_a_rule_that_applies_without_being_possible_is_a_fault() -> None:
    network = Network(RULES)
    network.entries = {alias: says & ~0x010101 or says for alias, says in network.entries.items()}
    matcher = Matcher(network)
    network.entries = {alias: says & 0x020202 for alias, says in network.entries.items()}
    with pytest.raises(EnginesDisagree, match="not possible"):
        matcher.match(ONE)


def handle_of(matcher: Matcher) -> int:
    assert matcher._ruleset is not None
    return matcher._ruleset.handle


def assert_given_back(handle: int, library: Library) -> None:
    with pytest.raises(Exception, match="111"):  # the library's code for an unknown ruleset
        library.delete_ruleset(handle)


def test_a_ruleset_goes_back_to_the_library_with_its_matcher(library: Library) -> None:
    matcher = Matcher(RULES)
    handle = handle_of(matcher)
    del matcher
    gc.collect()
    assert_given_back(handle, library)


def test_a_ruleset_goes_back_to_the_library_after_a_fault(library: Library) -> None:
    matcher = Matcher(RULES)
    handle = handle_of(matcher)
    library.break_("complete_and_start_action", RuntimeError("injected"))
    matcher.match(ONE)
    assert handle_of(matcher) != handle
    assert_given_back(handle, library)


# --- threads


def test_many_threads_share_a_pool_and_each_gets_its_own_answers() -> None:
    maker = Maker(7)
    rules = maker.rules()
    pool = MatcherPool(rules)
    work = [(known, expected(rules, known)) for known in (maker.facts() for _ in range(50))]
    wrong: list[Facts] = []

    def decide(seed: int) -> None:
        order = random.Random(seed)
        wrong.extend(known for known, right in order.choices(work, k=300) if pool.match(known) != right)

    interval = sys.getswitchinterval()
    sys.setswitchinterval(1e-5)
    try:
        threads = [threading.Thread(target=decide, args=[seed]) for seed in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    finally:
        sys.setswitchinterval(interval)
    assert wrong == []
    assert 1 <= len(pool._idle) <= 8


def test_one_matcher_refuses_a_second_user(library: Library) -> None:
    matcher = Matcher(RULES)
    inner: list[BaseException] = []

    def use_it_again(answer: Any) -> Any:
        try:
            matcher.match(OTHER)
        except RuntimeError as refusal:
            inner.append(refusal)
        return answer

    library.break_("assert_fact", use_it_again)
    assert matcher.match(ONE) == expected(RULES, ONE)
    assert "one thread at a time" in str(inner[0])
