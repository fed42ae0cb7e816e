from dataclasses import replace

from limbtier.governance.checks.wording.hard_to_read import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import with_rule

HARD = (
    "Considerable methodological heterogeneity notwithstanding, multidisciplinary consensus recommendations "
    "consistently necessitate individualised haemodynamic reassessment preceding therapeutic intensification."
)


def test_a_reason_of_long_words_in_a_long_sentence_is_found(bench: Bench) -> None:
    assert bench.new(CHECK, with_rule(bench.core, "stent", because=HARD)) == [("rule", "stent")]


def test_plain_words_about_the_same_are_not(bench: Bench) -> None:
    plain = "Guidelines differ, and all of them ask to measure the arteries again before the leg goes higher."
    assert bench.new(CHECK, with_rule(bench.core, "stent", because=plain)) == []


def test_the_line_is_drawn_by_the_file_and_not_by_the_check(bench: Bench) -> None:
    unmarked = replace(bench.context, settings=replace(bench.context.settings, marks=None))
    assert list(CHECK.find(with_rule(bench.core, "stent", because=HARD), unmarked)) == []
