from pathlib import Path

from limbtier import engine
from limbtier.domain.rule import Conclusions
from limbtier.governance.checks.vocabulary.unused_input import CHECK, READ_BY_ENGINE
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import and_rule, is_, with_input


def test_an_input_that_nothing_reads_is_found_and_one_that_a_rule_reads_is_not(bench: Bench) -> None:
    asked = with_input(bench.core, "smoker", like="diabetes", question="Does the person smoke?")
    assert bench.new(CHECK, asked) == [("input", "smoker")]
    read = and_rule(asked, is_("smoker", "yes"), Conclusions(caution=("Ask about help to stop.",)))
    assert bench.new(CHECK, read) == []


def test_an_input_that_another_question_depends_on_is_read(bench: Bench) -> None:
    asked = with_input(bench.core, "smoker", like="diabetes")
    other = with_input(asked, "wet_eczema", asked_when=is_("smoker", "yes"))
    assert bench.new(CHECK, other) == []


def test_what_the_engine_is_said_to_read_stands_in_its_source() -> None:
    source = "".join(path.read_text() for path in Path(engine.__file__).parent.glob("*.py"))
    for name in READ_BY_ENGINE:
        assert f'"{name}"' in source
