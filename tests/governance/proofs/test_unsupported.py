"""What has no formula is an error that names it, never passed over."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import cast

import pytest

from limbtier.domain.condition import Condition, ValueTest
from limbtier.domain.edition import Edition
from limbtier.domain.rule import GuardRail, GuardRails
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.errors import UnsupportedConstruct
from limbtier.governance.proofs import measure_terms
from limbtier.governance.proofs.encoding import encode
from limbtier.governance.proofs.prove import prove_edition
from limbtier.governance.proofs.requests import Domain
from limbtier.use_cases.decide import ReadyRules
from tests.governance.proofs.mutations import on_rule, removed


@dataclass(frozen=True, slots=True)
class MostOf:
    """A part of a condition that nobody has taught to the prover."""

    parts: tuple[Condition, ...]


def encoded(core: PreparedEdition, edit: Callable[[Edition], Edition]) -> None:
    edition, domain = edit(core.edition), Domain()
    request = {name: domain.answer(entry) for name, entry in edition.vocabulary.inputs.items()}
    encode(edition, core.periods.values[0], request, domain)


def condition(when: object) -> Callable[[Edition], Edition]:
    return on_rule("stent", lambda rule: replace(rule, when=cast("Condition", when)))


@pytest.mark.parametrize(
    ("edit", "named"),
    [
        (condition(MostOf(())), "Rule `stent`: The condition holds MostOf, which has no formula."),
        (
            condition(ValueTest("shoe_size", ("41",))),
            "Rule `stent`: A condition reads `shoe_size`, which is no input, measure or fact.",
        ),
        (removed("established"), "No rule classifies the fact `established`."),
    ],
)
def test_a_rule_without_a_formula_is_named_with_its_place(
    edit: Callable[[Edition], Edition], named: str, core: PreparedEdition
) -> None:
    with pytest.raises(UnsupportedConstruct) as error:
        encoded(core, edit)
    (diagnostic,) = error.value.diagnostics
    assert diagnostic.message == named
    assert diagnostic.code == "unsupported-by-prover"
    if named.startswith("Rule"):
        assert diagnostic.file == "core/2026.1.0/rules/arterial_supply.yaml"
        assert diagnostic.line


def test_a_measure_without_a_formula_is_named(core: PreparedEdition, monkeypatch: pytest.MonkeyPatch) -> None:
    without = {name: make for name, make in measure_terms.FORMULAS.items() if name != "abpi"}
    monkeypatch.setattr(measure_terms, "FORMULAS", without)
    with pytest.raises(UnsupportedConstruct, match="The measure `abpi` has no formula"):
        encoded(core, lambda edition: edition)


def test_an_input_of_a_kind_that_a_measure_cannot_use_is_named(core: PreparedEdition) -> None:
    def edit(edition: Edition) -> Edition:
        inputs = dict(edition.vocabulary.inputs)
        inputs["first_contact_on"] = replace(inputs["first_contact_on"], kind="flag")
        return replace(edition, vocabulary=replace(edition.vocabulary, inputs=inputs))

    with pytest.raises(UnsupportedConstruct, match="`first_contact_on` is of kind flag"):
        encoded(core, edit)


def test_a_relation_that_is_not_known_is_named(core: PreparedEdition, rules: ReadyRules) -> None:
    rail = GuardRail("older-is-slower", "Never.", (), cast("None", "age_never_hastens"))
    prepared = replace(core, guard_rails=GuardRails("9.9.9", "", (rail,)), guard_checks=())
    with pytest.raises(UnsupportedConstruct, match="relation age_never_hastens"):
        prove_edition(prepared, rules.calendars)
