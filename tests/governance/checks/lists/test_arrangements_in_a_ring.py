from limbtier.governance.checks.lists.arrangements_in_a_ring import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import DAYS_7, arrange, with_then


def test_two_arrangements_that_wait_for_one_another_are_found_once(bench: Bench) -> None:
    ring = with_then(bench.core, "old-test", arrange=(arrange("arterial_test", DAYS_7, "dvt_pathway"),))
    [(_, name, message)] = bench.said(CHECK, ring)
    assert name in ("old-test", "suspected-dvt")
    assert message.count("`dvt_pathway`") + message.count("`arterial_test`") == 3


def test_a_ring_of_three_is_found(bench: Bench) -> None:
    ring = with_then(bench.core, "old-test", arrange=(arrange("arterial_test", DAYS_7, "heart_assessment"),))
    ring = with_then(ring, "hf-suspected", arrange=(arrange("heart_assessment", DAYS_7, "dvt_pathway"),))
    assert len(bench.new(CHECK, ring)) == 1


def test_a_chain_is_no_ring(bench: Bench) -> None:
    chain = with_then(bench.core, "old-test", arrange=(arrange("arterial_test", DAYS_7, "heart_assessment"),))
    assert bench.new(CHECK, chain) == []
