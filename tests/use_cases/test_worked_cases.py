"""What a worked case can say of materials, cautions and instructions, and that each of it can fail."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from limbtier.domain.rule import Conclusions
from limbtier.engine.matcher import MatcherPool
from limbtier.engine.prepared import PreparedEdition, prepare
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.run_worked_cases import CaseResult, run_worked_cases

WITH_ALLERGY = "paste-out-with-an-allergy"


@pytest.fixture(scope="module")
def newest(rules: ReadyRules) -> PreparedEdition:
    """Return the core edition whose worked cases say most."""
    return rules.editions["core-2026.1.1"]


def expecting(newest: PreparedEdition, rules: ReadyRules, **expect: Any) -> CaseResult:
    """The case of the leg with an allergy, run with only this expected of it."""
    case = next(case for case in newest.edition.cases if case.id == WITH_ALLERGY)
    one = replace(newest, edition=replace(newest.edition, cases=(replace(case, expect=expect),)))
    [result] = run_worked_cases(one, rules.calendars)
    return result


@pytest.mark.parametrize(
    ("key", "comes_out", "does_not", "says"),
    [
        ("materials", "inelastic_bandage", "paste_layer", "`paste_layer`, which are not chosen"),
        ("not_chosen", "paste_layer", "inelastic_bandage", "`inelastic_bandage` not to be chosen"),
        ("avoided", "paste_layer", "hosiery_kit", "`hosiery_kit` to be avoided"),
        ("cautioned_by", None, "thin-ankle", "cautions of `thin-ankle`"),
        ("not_cautioned_by", "thin-ankle", None, ""),
        ("instructed_by", "paste-allergy", "paste-for-sore-skin", "instructions of `paste-for-sore-skin`"),
        ("not_instructed_by", "paste-for-sore-skin", "paste-allergy", "no instructions of `paste-allergy`"),
    ],
)
def test_each_expectation_holds_or_is_named_with_what_came_out(
    key: str,
    comes_out: str | None,
    does_not: str | None,
    says: str,
    newest: PreparedEdition,
    rules: ReadyRules,
) -> None:
    if comes_out is not None:
        assert expecting(newest, rules, **{key: [comes_out]}).problems == ()
    if does_not is not None:
        result = expecting(newest, rules, **{key: [*filter(None, [comes_out]), does_not]})
        [problem] = result.problems
        assert problem.code == "case-differs"
        assert says in problem.message
        # What is proposed instead holds.
        assert result.decided is not None
        assert expecting(newest, rules, **result.decided).problems == ()


def test_a_caution_that_must_not_be_given_fails_where_it_is(
    newest: PreparedEdition, rules: ReadyRules
) -> None:
    case = next(case for case in newest.edition.cases if case.id == "caution-of-fragile-skin")
    wrong = replace(case, expect={"not_cautioned_by": ["fragile-skin"]})
    one = replace(newest, edition=replace(newest.edition, cases=(wrong,)))
    [result] = run_worked_cases(one, rules.calendars)
    assert ["no caution of `fragile-skin`" in problem.message for problem in result.problems] == [True]


@pytest.mark.parametrize("part", ["avoid", "caution", "instruct"])
def test_no_rule_can_stop_avoiding_cautioning_or_instructing_unnoticed(
    part: str, newest: PreparedEdition, rules: ReadyRules
) -> None:
    edition = newest.edition
    nothing: dict[str, Any] = {part: ()}
    silenced = []
    for place, rule in enumerate(edition.rules):
        less = replace(rule.then, **nothing)
        if less in (rule.then, Conclusions()):
            continue
        others = (*edition.rules[:place], replace(rule, then=less), *edition.rules[place + 1 :])
        mutant = prepare(replace(edition, rules=others), newest.guard_rails, MatcherPool)
        # Only cases that name the rule can be about it, and they are few.
        about = [case for case in edition.cases if rule.id in str(case.expect) or "avoided" in case.expect]
        mutant = replace(mutant, edition=replace(mutant.edition, cases=tuple(about)))
        if not any(result.problems for result in run_worked_cases(mutant, rules.calendars)):
            silenced.append(rule.id)
    assert silenced == []
