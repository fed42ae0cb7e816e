"""Two editions are compared from the command line: what is written, and what is decided for everybody."""

from __future__ import annotations

import json
from typing import Any

import pytest

from limbtier.cli import main
from limbtier.foundation.errors import NotFound
from limbtier.foundation.settings import CHECKOUT
from limbtier.governance.comparison_text import behaviour_sentences
from limbtier.governance.proofs.comparison import Comparison, Region
from limbtier.use_cases.compare_editions import FORMS, Compared, compare, show
from limbtier.use_cases.decide import Decider, ReadyRules
from limbtier.use_cases.ready_rules import ready_rules
from tests.support.editions import CHANGED, CORE, rules_with_changed_core

Captured = pytest.CaptureFixture[str]
REDUCED = """\
    then:
      limit: {tier: mild, until: good_review}
      review: {within: 48 hours}
      classify: elevation_held
    because: Where the foot feels less"""


@pytest.fixture(scope="module")
def changed_rules(tmp_path_factory: pytest.TempPathFactory) -> ReadyRules:
    """The core edition and one in which a leg that feels less starts at support."""
    text = (CHECKOUT / "rules/core/2026.1.0/rules/arterial_supply.yaml").read_text()
    assert text.count(REDUCED) == 1
    lowered = REDUCED.replace("tier: mild", "tier: support")
    folder = rules_with_changed_core(
        tmp_path_factory.mktemp("lowered"), {"rules/arterial_supply.yaml": {REDUCED: lowered}}
    )
    return ready_rules(folder)


@pytest.fixture(scope="module")
def compared(changed_rules: ReadyRules) -> Compared:
    return compare(changed_rules, CORE, CHANGED, behaviour=True)


def test_one_lowered_limit_is_one_change_of_what_is_written(compared: Compared) -> None:
    [change] = compared.written.of("rule")
    assert (change.act, change.name) == ("changed", "reduced-sensation")
    assert {one.part for one in compared.written.changes} == {"edition", "rule"}


def test_every_difference_of_behaviour_has_conditions_a_direction_and_an_example(compared: Compared) -> None:
    assert compared.decided is not None
    assert compared.decided.regions
    assert compared.decided.incomplete == ""
    lowered = [one for one in compared.decided.regions if one.change == "tier mild -> support"]
    assert lowered
    for region in lowered:
        assert region.direction == "more cautious"
        assert any("sensation" in condition for condition in region.conditions)
        assert region.words


def test_the_example_of_a_difference_is_decided_so_by_the_service(
    compared: Compared, changed_rules: ReadyRules
) -> None:
    assert compared.decided is not None
    region = next(one for one in compared.decided.regions if one.change == "tier mild -> support")
    request: dict[str, Any] = json.loads(json.dumps(region.request, default=float))
    decider = Decider(changed_rules)
    for edition, tier in ((CORE, "mild"), (CHANGED, "support")):
        answer = json.loads(decider.preview(json.dumps(request | {"edition": edition}).encode()))
        assert answer["limbs"]["left"]["tier"] == tier


def test_every_form_holds_both_comparisons(compared: Compared) -> None:
    assert compared.decided is not None
    for form in FORMS:
        text = show(compared, form)
        assert "reduced-sensation" in text.replace("\\", "")
        assert "safer" in text
        assert "tier mild" in text
    record = json.loads(show(compared, "json"))
    assert record["behaviour"]["complete"] is (not compared.decided.more)
    assert tuple(record["behaviour"]["changes_not_told_in_full"]) == compared.decided.more
    assert record["behaviour"]["equivalent"] is False
    assert len(record["behaviour"]["differences"]) == len(compared.decided.regions)
    assert "Proved complete" in show(compared, "text")


def found(*directions: Any, unlike: tuple[str, ...] = (), more: Any = (), because: str = "") -> Comparison:
    regions = (Region("tier a -> b", direction, (), {}, (), (), (), "") for direction in directions)
    return Comparison("a", "b", unlike, tuple(regions), more, because)


COMPLETE = "Proved complete: no other assessment is decided differently."


@pytest.mark.parametrize(
    ("decided", "said"),
    [
        (found(), ["Proved: both decide every assessment alike."]),
        (
            found("more cautious", "less cautious"),
            ["in 2 ways: 1 safer, 1 less cautious, 0 neither.", COMPLETE],
        ),
        (
            found("neither", more=("tier a -> b",)),
            [
                "in 1 way: 0 safer, 0 less cautious, 1 neither.",
                "some conditions are named, and others lead to them, too: tier a -> b.",
                "Proved complete: nothing else is decided differently.",
            ],
        ),
        (
            found("neither", unlike=("diabetes",), because="the solver ran out of time"),
            [
                "in 1 way: 0 safer, 0 less cautious, 1 neither.",
                "There may be more: the solver ran out of time.",
                "Questions that the two ask differently: diabetes. Only assessments that both take are",
            ],
        ),
        (
            found(because="the solver ran out of time"),
            [
                "in 0 ways: 0 safer, 0 less cautious, 0 neither.",
                "There may be more: the solver ran out of time.",
            ],
        ),
    ],
)
def test_what_is_shown_is_never_said_to_be_more_than_it_is(decided: Comparison, said: list[str]) -> None:
    sentences = list(behaviour_sentences(decided))
    assert len(sentences) == len(said)
    for sentence, words in zip(sentences, said, strict=True):
        assert words in sentence


def test_without_being_asked_the_solver_is_left_alone(changed_rules: ReadyRules) -> None:
    assert compare(changed_rules, CORE, CHANGED).decided is None


@pytest.mark.parametrize("names", [("core-2026.2.1", CORE), (CORE, "core-2026.2.1")])
def test_an_unknown_edition_is_named_with_the_closest(
    names: tuple[str, str], changed_rules: ReadyRules
) -> None:
    with pytest.raises(NotFound, match=r"`core-2026\.2\.1`(.|\n)*Did you mean `core-2026\.2\.0`"):
        compare(changed_rules, *names)


def test_the_command_prints_the_comparison_and_names_an_edition_that_is_not_there(capsys: Captured) -> None:
    assert main(["compare", CORE, "quillerbeck-2026.1.0", "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    assert record["before"]["id"] == CORE
    assert record["behaviour"] is None
    assert main(["compare", CORE, "quillerbeck"]) == 2
    assert "There is no edition `quillerbeck`" in capsys.readouterr().err
