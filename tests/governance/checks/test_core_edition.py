"""What all checks together find in the editions of the project, and how findings are accepted."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from limbtier.foundation.settings import CHECKOUT
from limbtier.governance.checks.check import Check
from limbtier.governance.checks.places import Places
from limbtier.governance.checks.registry import CHECKS
from limbtier.governance.checks.run import Judgement, judge
from limbtier.rulesets.read_checks import CheckSeverity, Suppression
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import found, with_rule

RULES = CHECKOUT / "rules"


def places(bench: Bench) -> Places:
    return Places([bench.core], lambda file: (RULES / file).read_bytes())


@pytest.fixture(scope="module")
def judgement(bench: Bench) -> Judgement:
    return judge(bench.core, bench.context, places(bench))


def test_everything_found_in_the_core_edition_is_true_and_accepted_with_a_reason(
    judgement: Judgement,
) -> None:
    assert [one.diagnostic() for one in judgement.found] == []
    assert judgement.checks_run == sum(not check.judges_suppressions for check in CHECKS.values())


def test_every_suppression_meets_something(judgement: Judgement, bench: Bench) -> None:
    met = {(one.check, one.finding.part, one.finding.name) for one in judgement.accepted}
    written = bench.context.settings.suppressions
    assert met == {(one.check, one.part, one.name) for one in written if one.edition == bench.core.id}


def test_every_finding_has_a_place_in_a_file_that_says_so(judgement: Judgement) -> None:
    assert judgement.accepted
    for one in judgement.accepted:
        assert one.finding.file is not None
        assert one.finding.line is not None
        line = (RULES / one.finding.file).read_text(encoding="utf-8").splitlines()[one.finding.line - 1]
        assert one.finding.name in line


PLAIN = [check for check in CHECKS.values() if not (check.needs_prover or check.judges_suppressions)]


@pytest.mark.parametrize("one", PLAIN, ids=lambda check: check.id)
def test_a_check_finds_the_same_whatever_the_order_of_the_rules(one: Check, bench: Bench) -> None:
    backwards = replace(bench.core, rules=bench.core.rules[::-1], strata=bench.core.strata[::-1])
    about = {(part, name) for part, name, _ in found(one, bench.core, bench.context)}
    assert {(part, name) for part, name, _ in found(one, backwards, bench.context)} == about


def test_a_suppression_whose_day_has_passed_suppresses_nothing_and_is_named(bench: Bench) -> None:
    last = bench.context.settings.suppressions[0].until
    late = judge(
        bench.core, replace(bench.context, day=last + timedelta(days=1), prover_for=None), places(bench)
    )
    codes = {one.check for one in late.found}
    assert {"suppression-expired", "hard-to-read", "lift-not-arranged"} <= codes
    assert late.accepted == ()


def test_a_suppression_of_another_edition_is_not_used(bench: Bench) -> None:
    other = replace(bench.core, version="2026.2.0")
    judged = judge(other, replace(bench.context, prover_for=None), places(bench))
    assert judged.accepted == ()
    assert "lift-not-arranged" in {one.check for one in judged.found}


def test_a_suppression_that_meets_nothing_is_named_with_its_own_line(bench: Bench) -> None:
    settings = replace(
        bench.context.settings,
        suppressions=(
            Suppression(
                "hard-to-read",
                bench.core.id,
                "rule",
                "stent",
                "Why.",
                "a role",
                date(2027, 1, 1),
                "checks.yaml",
                9,
            ),
        ),
    )
    context = replace(bench.context, settings=settings, prover_for=None)
    [unused] = [
        one for one in judge(bench.core, context, places(bench)).found if one.check == "suppression-unused"
    ]
    assert unused.diagnostic().place() == "checks.yaml:9"


def test_what_is_found_in_the_base_too_is_not_repeated_and_what_is_new_is(bench: Bench) -> None:
    plain = replace(bench.context, prover_for=None, settings=replace(bench.context.settings, suppressions=()))
    below = judge(bench.core, plain, places(bench))
    local = with_rule(bench.core, "stent", because="As above.")
    judged = judge(local, plain, places(bench), below.keys)
    assert [(one.check, one.finding.name) for one in judged.found] == [("reason-says-nothing", "stent")]
    assert judged.of_base == len(below.found) > 0


def test_severities_are_those_of_the_file_and_off_is_off(bench: Bench) -> None:
    severities: dict[str, CheckSeverity] = {"lift-not-arranged": "error", "sentence-too-long": "off"}
    settings = replace(bench.context.settings, severities=severities, suppressions=())
    judged = judge(bench.core, replace(bench.context, settings=settings, prover_for=None), places(bench))
    assert {one.severity for one in judged.found if one.check == "lift-not-arranged"} == {"error"}
    assert not any(one.check == "sentence-too-long" for one in judged.found)
    assert judged.found[0].severity == "error"
