"""Proofs of editions that add to the core: choices that count as others, settings that change in time."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from limbtier.domain.edition import DatedValue, Edition, Setting
from limbtier.domain.interval import Interval
from limbtier.domain.vocabulary import Choice
from limbtier.engine.prepared import PreparedEdition
from limbtier.governance.proofs.comparison import compare
from limbtier.governance.proofs.prove import prove_rule, verdicts
from limbtier.governance.proofs.verdict import Counterexample, Proved
from limbtier.governance.proofs.workbench import Workbench
from limbtier.use_cases.decide import ReadyRules
from tests.governance.proofs.catching import prepared_mutant
from tests.governance.proofs.mutations import values

LATER = date(2026, 7, 1)


def with_choice(edition: Edition, counts_as: str) -> Edition:
    """A new word for heart failure, which no rule reads."""
    inputs = dict(edition.vocabulary.inputs)
    status = inputs["heart_failure_status"]
    choice = Choice("unstable", "Unstable", counts_as)
    inputs["heart_failure_status"] = replace(status, choices=(*status.choices, choice))
    return replace(edition, vocabulary=replace(edition.vocabulary, inputs=inputs))


def test_a_new_word_for_a_danger_is_held_to_the_guard_rails(core: PreparedEdition, rules: ReadyRules) -> None:
    prepared = prepared_mutant(with_choice(core.edition, "decompensated"), core.guard_rails)
    bench = Workbench(prepared, rules.calendars)
    verdict = next(one for one in verdicts(bench) if one.statement.id == "heart-failure-caps")
    assert isinstance(verdict, Counterexample)
    assert verdict.request["person"]["heart_failure_status"] == "unstable"


def test_a_new_word_that_a_rule_reads_passes_the_guard_rails(
    core: PreparedEdition, rules: ReadyRules
) -> None:
    edit = values("decompensated-heart", "heart_failure_status", "decompensated", "unstable")
    prepared = prepared_mutant(edit(with_choice(core.edition, "decompensated")), core.guard_rails)
    bench = Workbench(prepared, rules.calendars)
    found = [one for one in verdicts(bench) if one.statement.family == "guard rail"]
    assert all(isinstance(one, Proved) for one in found)


def changing_in_time(edition: Edition) -> Edition:
    """From a later day on, a leg that cannot be decided yet may wait for 48 hours."""
    name = "review_cannot_decide_yet"
    setting: Setting = edition.settings[name]
    first = setting.values[0]
    later = DatedValue(Interval("hours", 48), LATER, None)
    values_in_time = (replace(first, effective_to=LATER - timedelta(days=1)), later)
    return replace(edition, settings={**edition.settings, name: replace(setting, values=values_in_time)})


def test_each_period_of_the_settings_is_proved_by_itself(core: PreparedEdition, rules: ReadyRules) -> None:
    prepared = prepared_mutant(changing_in_time(core.edition), core.guard_rails)
    found = {one.statement.id: one for one in prove_rule(prepared, rules.calendars, "wet-review")}
    early, late = (found[f"review-always-set@{day}"] for day in (date(2026, 1, 1), LATER))
    assert isinstance(early, Proved)
    assert early.statement.sentence.endswith("(from 2026-01-01, before 2026-07-01.)")
    assert isinstance(late, Counterexample)
    assert date.fromisoformat(late.request["assessed_at"][:10]) >= LATER


def test_editions_are_compared_in_every_period(core: PreparedEdition, rules: ReadyRules) -> None:
    after = prepared_mutant(changing_in_time(core.edition), core.guard_rails)
    found = compare(core, after, rules.calendars)
    assert found.incomplete == ""
    assert {region.change for region in found.regions} == {"review within 24 hours -> 48 hours"}
    days = {date.fromisoformat(region.request["assessed_at"][:10]) for region in found.regions}
    assert min(days) >= LATER
    assert {"the decision is cannot_decide_yet"} <= {word for one in found.regions for word in one.conditions}
