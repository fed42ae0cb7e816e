from limbtier.domain.condition import AllOf
from limbtier.governance.checks.rules.figures_differ import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import changed, edges, rule_of, with_rule


def test_an_edge_changed_under_its_reason_is_found(bench: Bench) -> None:
    edited = with_rule(bench.core, "not-measured-risk", when=AllOf((edges("age_years", above="70"),)))
    assert bench.new(CHECK, edited) == [("rule", "not-measured-risk")]


def test_a_reason_without_figures_and_a_rule_without_edges_are_not_judged(bench: Bench) -> None:
    plain = with_rule(bench.core, "not-measured-risk", because="An old age makes arterial disease likelier.")
    plain = with_rule(
        plain, "not-measured-risk", title="Old age", when=AllOf((edges("age_years", above="70"),))
    )
    assert bench.new(CHECK, plain) == []
    assert rule_of(bench.core, "goal-ulcer").because.count("40") == 1
    assert bench.new(CHECK, bench.core) == []


def test_an_interval_of_the_rule_is_a_figure_of_its_own(bench: Bench) -> None:
    reason = "The test is repeated within 28 days."
    told = with_rule(
        bench.core, "old-test-kept", because=reason, title="Old test in a leg at moderate or strong"
    )
    assert bench.new(CHECK, told) == []


def test_a_figure_of_the_replaced_rule_that_is_still_in_the_reason_is_found(bench: Bench) -> None:
    before = rule_of(bench.core, "reduced-supply")
    local = changed(bench.core, "rule", "replaced", "reduced-supply", before=before)
    assert bench.new(CHECK, local) == []
    narrower = AllOf((edges("abpi", at_least="0.65", below="0.8"),))
    [(_, name, message)] = bench.said(CHECK, with_rule(local, "reduced-supply", when=narrower))
    assert name == "reduced-supply"
    assert "0.6," in message
