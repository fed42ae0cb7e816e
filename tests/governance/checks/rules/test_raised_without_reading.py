from limbtier.domain.rule import Limit
from limbtier.governance.checks.rules.raised_without_reading import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import changed, rule_of, with_rule, with_then

UNREAD = ("common-practice", "esvs-2022-memory")


def test_a_proposal_that_rests_on_memory_and_practice_is_found(bench: Bench) -> None:
    assert bench.new(CHECK, with_rule(bench.core, "goal-wound", sources=UNREAD)) == [("rule", "goal-wound")]


def test_a_limit_may_rest_on_practice(bench: Bench) -> None:
    assert bench.new(CHECK, with_rule(bench.core, "stent", sources=UNREAD)) == []


def test_a_limit_raised_or_taken_away_in_a_local_edition_needs_a_source_that_was_read(bench: Bench) -> None:
    before = rule_of(bench.core, "stent")
    local = changed(bench.core, "rule", "replaced", "stent", before=before)
    local = with_rule(local, "stent", sources=UNREAD)
    assert bench.new(CHECK, local) == []
    raised = with_then(local, "stent", limit=Limit("mild", "specialist_advice"))
    assert bench.new(CHECK, raised) == [("rule", "stent")]
    assert bench.new(CHECK, with_then(local, "stent", limit=None)) == [("rule", "stent")]
    assert bench.new(CHECK, with_then(local, "stent", limit=Limit("withhold"))) == []
    assert bench.new(CHECK, with_rule(raised, "stent", sources=("sign-120",))) == []
