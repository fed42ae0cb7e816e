"""What conditions say by their structure, against the definition of what they mean."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given

from limbtier.domain.assessment import Answer
from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.engine.interpreter import truth
from limbtier.governance.checks.condition_words import condition_words, number_words
from limbtier.governance.checks.conditions import Span, implies, same_meaning_key
from tests.support.conditions import conditions, edge_tests, facts, numbers

CONDITIONS = conditions()


@given(one=CONDITIONS, other=CONDITIONS, facts=facts)
def test_what_one_condition_implies_reads_at_least_as_true(
    one: Condition, other: Condition, facts: dict[str, Answer]
) -> None:
    if implies(one, other):
        assert truth(one, facts) <= truth(other, facts)


@given(one=CONDITIONS, other=CONDITIONS, facts=facts)
def test_conditions_with_the_same_key_read_the_same(
    one: Condition, other: Condition, facts: dict[str, Answer]
) -> None:
    if same_meaning_key(one) == same_meaning_key(other):
        assert truth(one, facts) == truth(other, facts)


@given(condition=CONDITIONS)
def test_every_condition_implies_itself(condition: Condition) -> None:
    assert implies(condition, condition)


@given(condition=CONDITIONS)
def test_the_key_does_not_depend_on_the_order_of_parts(condition: Condition) -> None:
    if isinstance(condition, AllOf | AnyOf | NoneOf):
        assert same_meaning_key(type(condition)(condition.parts[::-1])) == same_meaning_key(condition)


@given(one=edge_tests, other=edge_tests, number=numbers)
def test_a_number_is_in_the_meeting_of_two_spans_when_it_is_in_both(
    one: EdgeTest, other: EdgeTest, number: Fraction
) -> None:
    def inside(span: Span) -> bool:
        above = span.low is None or (number > span.low if span.low_out else number >= span.low)
        below = span.high is None or (number < span.high if span.high_out else number <= span.high)
        return above and below

    meeting = Span.of(one).meet(Span.of(other))
    assert inside(meeting) == (inside(Span.of(one)) and inside(Span.of(other)))
    if meeting.empty:
        assert not inside(meeting)


def test_a_condition_is_written_as_in_a_rule_file() -> None:
    condition = AllOf(
        (
            EdgeTest("abpi", at_least=Fraction(3, 5), below=Fraction(4, 5)),
            ValueTest("wound", ("erosions", "leg_ulcer")),
            AnyOf((ValueTest("diabetes", ("yes",)), NoneOf((ValueTest("wound", ("none",)),)))),
        )
    )
    assert condition_words(condition) == (
        "`{abpi: {at_least: 0.6, below: 0.8}, wound: [erosions, leg_ulcer], "
        "any_of: [{diabetes: yes}, {none_of: [{wound: none}]}]}`"
    )
    assert [number_words(Fraction(text)) for text in ("18", "0.05", "-8", "1.3")] == [
        "18",
        "0.05",
        "-8",
        "1.3",
    ]
