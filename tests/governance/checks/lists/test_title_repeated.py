from limbtier.governance.checks.lists.title_repeated import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import rule_of, with_input, with_rule


def test_a_title_in_other_capitals_is_the_same_title(bench: Bench) -> None:
    title = rule_of(bench.core, "not-tolerated-mild").title.upper() + "."
    repeated = with_rule(bench.core, "not-tolerated-moderate", title=title)
    [(part, name)] = bench.new(CHECK, repeated)
    assert part == "rule"
    assert name in ("not-tolerated-mild", "not-tolerated-moderate")


def test_the_same_question_about_the_person_and_about_the_leg_is_no_repetition(bench: Bench) -> None:
    question = bench.core.vocabulary.inputs["wet_eczema"].question
    assert bench.new(CHECK, with_input(bench.core, "diabetes", question=question)) == []
    assert bench.new(CHECK, with_input(bench.core, "fragile_skin", question=question)) == [
        ("input", "fragile_skin")
    ]
