"""Seeded unsafe edits of the core edition: each must be caught by a proof, a check or a worked case.

An edit is what a tired editor could write: an edge moved or made strict, a limit dropped, a condition left
out or turned round, a setting too long. `caught_by` names one thing that must catch it; the benchmark prints
everything that does.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final, Literal

from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, Test, ValueTest
from limbtier.domain.edition import Edition
from limbtier.domain.interval import Interval
from limbtier.domain.rule import Limit, Rule
from limbtier.domain.vocabulary import Range
from limbtier.rulesets.strata import stratify

Edit = Callable[[Edition], Edition]
EDITED: Final = "core-2026.1.1"
"""The edition that the edits are made of: the newest core edition, whose worked cases say most."""
Catcher = Literal["proof", "check", "case"]


@dataclass(frozen=True, slots=True)
class Mutation:
    """One seeded edit. `caught_by` is a statement's id, a check's finding, or a worked case's id."""

    name: str
    edit: Edit
    catcher: Catcher
    caught_by: str


# ---- ways to edit ---------------------------------------------------------------------------------------


def rewritten(edition: Edition, rules: Sequence[Rule]) -> Edition:
    """The edition with other rules, in strata again."""
    strata = stratify(rules, edition.vocabulary.facts)
    if isinstance(strata, list):
        raise TypeError(f"facts hang on one another: {strata}")
    order = sorted(range(len(rules)), key=lambda place: strata[place])
    return replace(
        edition,
        rules=tuple(rules[place] for place in order),
        strata=tuple(strata[place] for place in order),
    )


def on_rule(rule_id: str, change: Callable[[Rule], Rule | None]) -> Edit:
    """An edit of one rule; None takes it out."""

    def edit(edition: Edition) -> Edition:
        if rule_id not in {rule.id for rule in edition.rules}:
            raise KeyError(rule_id)
        changed = [change(rule) if rule.id == rule_id else rule for rule in edition.rules]
        return rewritten(edition, [rule for rule in changed if rule is not None])

    return edit


def removed(rule_id: str) -> Edit:
    return on_rule(rule_id, lambda _rule: None)


def limited(rule_id: str, tier: str | None, until: str | None = "as before") -> Edit:
    """Another limit, or none."""

    def change(rule: Rule) -> Rule:
        before = rule.then.limit
        assert before is not None
        kept = before.until if until == "as before" else until
        return replace(rule, then=replace(rule.then, limit=None if tier is None else Limit(tier, kept)))

    return on_rule(rule_id, change)


def concluding(rule_id: str, **conclusions: object) -> Edit:
    return on_rule(rule_id, lambda rule: replace(rule, then=replace(rule.then, **conclusions)))  # type: ignore[arg-type]


def tests_changed(condition: Condition, change: Callable[[Test], Condition | None]) -> Condition | None:
    """The condition with its tests changed; those for which None comes back are left out."""
    if isinstance(condition, ValueTest | EdgeTest):
        return change(condition)
    parts = [tests_changed(part, change) for part in condition.parts]
    return type(condition)(tuple(part for part in parts if part is not None))


def testing(rule_id: str, name: str, change: Callable[[Test], Condition | None]) -> Edit:
    """An edit of the tests of one name in a rule."""

    def of_rule(rule: Rule) -> Rule:
        when = tests_changed(rule.when, lambda test: change(test) if test.name == name else test)
        assert when is not None
        assert when != rule.when, f"{rule.id} does not test {name} so"
        return replace(rule, when=when)

    return on_rule(rule_id, of_rule)


def without_test(rule_id: str, name: str) -> Edit:
    return testing(rule_id, name, lambda _test: None)


def values(rule_id: str, name: str, *wanted: str) -> Edit:
    return testing(rule_id, name, lambda test: ValueTest(test.name, wanted))


def edges(rule_id: str, name: str, **wanted: object) -> Edit:
    """Other edges: a number is written as text, None takes an edge out."""
    numbers = {side: None if edge is None else Fraction(str(edge)) for side, edge in wanted.items()}
    return testing(rule_id, name, lambda test: replace(test, **numbers))  # type: ignore[arg-type]


def all_instead_of_any(rule_id: str) -> Edit:
    def change(rule: Rule) -> Rule:
        assert isinstance(rule.when, AnyOf)
        return replace(rule, when=AllOf(rule.when.parts))

    return on_rule(rule_id, change)


def setting(name: str, value: Interval) -> Edit:
    def edit(edition: Edition) -> Edition:
        entry = edition.settings[name]
        later = replace(entry, values=tuple(replace(dated, value=value) for dated in entry.values))
        return replace(edition, settings={**edition.settings, name: later})

    return edit


def asked_when(name: str, condition: Condition) -> Edit:
    def edit(edition: Edition) -> Edition:
        inputs = dict(edition.vocabulary.inputs)
        inputs[name] = replace(inputs[name], asked_when=condition)
        return replace(edition, vocabulary=replace(edition.vocabulary, inputs=inputs))

    return edit


def ranged(name: str, bounds: Range) -> Edit:
    def edit(edition: Edition) -> Edition:
        inputs = dict(edition.vocabulary.inputs)
        inputs[name] = replace(inputs[name], range=bounds)
        return replace(edition, vocabulary=replace(edition.vocabulary, inputs=inputs))

    return edit


def tier_review(tier: str, within: Interval | None) -> Edit:
    def edit(edition: Edition) -> Edition:
        tiers = (
            replace(entry, review_within=within) if entry.name == tier else entry for entry in edition.tiers
        )
        return replace(edition, tiers=tuple(tiers))

    return edit


def no_safety_net(edition: Edition) -> Edition:
    return replace(edition, wording=replace(edition.wording, safety_net=()))


def swapped(first: str, second: str) -> Edit:
    """Two rules exchange their conclusions."""

    def edit(edition: Edition) -> Edition:
        by_id: Mapping[str, Rule] = {rule.id: rule for rule in edition.rules}
        other = {first: second, second: first}
        return rewritten(
            edition,
            [
                replace(rule, then=by_id[other[rule.id]].then) if rule.id in other else rule
                for rule in edition.rules
            ],
        )

    return edit


def hours(amount: int) -> Interval:
    return Interval("hours", amount)


def days(amount: int) -> Interval:
    return Interval("days", amount)


# ---- the edits ------------------------------------------------------------------------------------------

MUTATIONS: Final[tuple[Mutation, ...]] = (
    # Danger signs.
    Mutation(
        "suspected-dvt no longer limits", limited("suspected-dvt", None), "proof", "danger-sign-withholds"
    ),
    Mutation("sepsis has no rule", removed("sepsis"), "proof", "danger-signs-heard"),
    Mutation("hot-foot allows support", limited("hot-foot", "support"), "proof", "danger-sign-withholds"),
    Mutation(
        "bleeding-varix is reviewed after 48 hours",
        concluding("bleeding-varix", review=hours(48)),
        "proof",
        "danger-sign-withholds",
    ),
    Mutation(
        "acute-stroke is no danger sign any more",
        concluding("acute-stroke", classify=("elevation_held",)),
        "proof",
        "danger-signs-heard",
    ),
    Mutation(
        "limb-threat needs all of its signs", all_instead_of_any("limb-threat"), "proof", "danger-signs-heard"
    ),
    Mutation(
        "decompensated-heart overlooks class 4",
        without_test("decompensated-heart", "nyha_class"),
        "proof",
        "heart-failure-caps",
    ),
    Mutation(
        "decompensated-heart overlooks breathlessness",
        without_test("decompensated-heart", "breathless_at_rest_or_lying_flat"),
        "proof",
        "heart-failure-caps",
    ),
    Mutation(
        "weight gain of exactly 1 kg passes",
        edges("decompensated-heart", "weight_gain_kg_over_2_days", at_least=None, above=1),
        "case",
        "weight-gain-1",
    ),
    Mutation(
        "acute-infection withholds when treated and well, not when untreated",
        values("acute-infection", "infection_treated_24h_and_well", "yes"),
        "case",
        "infection-not-treated",
    ),
    # Arterial supply.
    Mutation(
        "severe-ischaemia begins at 0.4",
        edges("severe-ischaemia", "abpi", below="0.4"),
        "proof",
        "critical-arterial-values-withhold",
    ),
    Mutation(
        "severe-ischaemia begins at 0.5", edges("severe-ischaemia", "abpi", below="0.5"), "case", "ratio-0-50"
    ),
    Mutation(
        "severe-ischaemia takes in 0.6 itself",
        edges("severe-ischaemia", "abpi", below=None, at_most="0.6"),
        "case",
        "ratio-0-60",
    ),
    Mutation(
        "severe-ischaemia begins at a toe pressure of 25",
        edges("severe-ischaemia", "toe_pressure_mmhg", below=25),
        "proof",
        "critical-arterial-values-withhold",
    ),
    Mutation(
        "severe-ischaemia overlooks the ankle pressure",
        without_test("severe-ischaemia", "ankle_pressure"),
        "case",
        "ankle-pressure-59",
    ),
    Mutation(
        "critical-pressure leaves 0.3 out",
        edges("critical-pressure", "abpi", at_most=None, below="0.3"),
        "case",
        "ratio-0-30",
    ),
    Mutation(
        "reduced-supply no longer limits",
        limited("reduced-supply", None),
        "proof",
        "reduced-supply-needs-advice",
    ),
    Mutation(
        "reduced-supply-no-advice allows mild",
        limited("reduced-supply-no-advice", "mild"),
        "proof",
        "reduced-supply-needs-advice",
    ),
    Mutation(
        "reduced-supply-no-advice leaves 0.6 itself out",
        edges("reduced-supply-no-advice", "abpi", at_least=None, above="0.6"),
        "proof",
        "reduced-supply-needs-advice",
    ),
    Mutation(
        "reduced-supply-no-advice ends at 0.79",
        edges("reduced-supply-no-advice", "abpi", below="0.79"),
        "proof",
        "reduced-supply-needs-advice",
    ),
    Mutation(
        "reduced-supply-no-advice has its edges swapped",
        edges("reduced-supply-no-advice", "abpi", at_least="0.8", below="0.6"),
        "check",
        "rule-never-applies: reduced-supply-no-advice",
    ),
    Mutation(
        "reduced-supply-no-advice asks for strong advice",
        values("reduced-supply-no-advice", "vascular_advice", "strong"),
        "proof",
        "reduced-supply-needs-advice",
    ),
    Mutation("advice-cap-mild is gone", removed("advice-cap-mild"), "proof", "arterial-gate"),
    Mutation(
        "advice-cap-support and advice-cap-moderate are swapped",
        swapped("advice-cap-support", "advice-cap-moderate"),
        "proof",
        "arterial-gate",
    ),
    Mutation("vascular-says-no is gone", removed("vascular-says-no"), "proof", "arterial-gate"),
    Mutation(
        "not-measured-no-advice allows moderate",
        limited("not-measured-no-advice", "moderate"),
        "proof",
        "arterial-gate",
    ),
    Mutation(
        "not-measured-no-advice waits for a lift that it does not read",
        limited("not-measured-no-advice", "mild", "tolerated"),
        "proof",
        "not-measured-no-advice-lifts",
    ),
    Mutation(
        "not-measured-cautious overlooks reduced sensation",
        without_test("not-measured-cautious", "sensation"),
        "case",
        "reduced-sensation-no-result",
    ),
    Mutation(
        "no full assessment is arranged with advice",
        concluding("not-measured", arrange=()),
        "proof",
        "full-assessment-arranged",
    ),
    Mutation(
        "the full assessment may take 21 days",
        setting("full_assessment", Interval("days_of_first_contact", 21)),
        "proof",
        "full-assessment-arranged",
    ),
    Mutation(
        "incompressible begins above 1.5",
        edges("incompressible", "abpi", above="1.5"),
        "case",
        "ratio-1-31",
    ),
    Mutation(
        "old-test begins at 85 days",
        edges("old-test", "arterial_test_age_days", above=85),
        "case",
        "test-85-days-old",
    ),
    Mutation(
        "stent overlooks not known",
        values("stent", "arterial_graft_or_stent", "stent"),
        "case",
        "graft-or-stent-not-known",
    ),
    Mutation(
        "bypass-graft allows support", limited("bypass-graft", "support"), "case", "bypass-graft-no-advice"
    ),
    Mutation(
        "normal-ratio-calcified allows moderate",
        limited("normal-ratio-calcified", "moderate"),
        "case",
        "arterial-disease-and-kidney-disease",
    ),
    Mutation(
        "an arm pressure of 0 is taken",
        lambda edition: ranged("arm_pressure_right_mmhg", Range(Fraction(0), Fraction(300)))(
            ranged("arm_pressure_left_mmhg", Range(Fraction(0), Fraction(300)))(edition)
        ),
        "proof",
        "complete-answers-decide",
    ),
    # Sensation and the heart.
    Mutation(
        "no-protective-sensation allows mild",
        limited("no-protective-sensation", "mild"),
        "proof",
        "no-protective-sensation-caps",
    ),
    Mutation(
        "no-protective-sensation-agreed is gone",
        removed("no-protective-sensation-agreed"),
        "proof",
        "no-protective-sensation-caps",
    ),
    Mutation(
        "neuropathy-says-no is gone", removed("neuropathy-says-no"), "proof", "no-protective-sensation-caps"
    ),
    Mutation("reduced-sensation is gone", removed("reduced-sensation"), "case", "reduced-sensation"),
    Mutation(
        "hf-stable-mild overlooks class 2",
        values("hf-stable-mild", "nyha_class", "1"),
        "proof",
        "stable-heart-failure-starts-mild",
    ),
    Mutation(
        "hf-stable-nyha3-agreed never ends",
        without_test("hf-stable-nyha3-agreed", "first_application"),
        "proof",
        "hf-stable-nyha3-agreed-lifts",
    ),
    Mutation("hf-suspected allows mild", limited("hf-suspected", "mild"), "proof", "heart-failure-caps"),
    Mutation("hf-suspected-agreed is gone", removed("hf-suspected-agreed"), "proof", "heart-failure-caps"),
    Mutation("heart-team-says-no is gone", removed("heart-team-says-no"), "proof", "heart-failure-caps"),
    Mutation(
        "nyha_class is asked only when heart failure is suspected",
        asked_when("nyha_class", ValueTest("heart_failure_status", ("suspected",))),
        "proof",
        "stable-heart-failure-starts-mild",
    ),
    # First application, steps and tolerance.
    Mutation(
        "first-application is turned round",
        values("first-application", "established", "yes"),
        "proof",
        "stable-heart-failure-starts-mild",
    ),
    Mutation(
        "established on the first day",
        edges("established", "days_at_current_tier", at_least=0),
        "case",
        "stable-mild-put-on-today",
    ),
    Mutation(
        "established although not tolerated",
        values("established", "tolerance", "good", "with_difficulty", "not_tolerated"),
        "case",
        "strong-not-tolerated",
    ),
    Mutation("one-tier-at-a-time is gone", removed("one-tier-at-a-time"), "case", "pain-7"),
    Mutation(
        "not-tolerated-strong keeps strong",
        limited("not-tolerated-strong", "strong"),
        "case",
        "strong-not-tolerated",
    ),
    Mutation(
        "with-difficulty-mild holds those who do well",
        values("with-difficulty-mild", "tolerance", "good"),
        "case",
        "old-test-in-a-leg-at-mild",
    ),
    Mutation(
        "cannot-report overlooks the first application",
        without_test("cannot-report", "first_application"),
        "proof",
        "cannot-report-lifts",
    ),
    Mutation(
        "foot-wound overlooks advice against",
        values("foot-wound", "foot_service_advice", "not_sought"),
        "case",
        "foot-wound-service-against",
    ),
    # Goals.
    Mutation(
        "goal-swelling proposes mild",
        concluding("goal-swelling", propose="mild"),
        "case",
        "ankle-pressure-65-no-wound",
    ),
    Mutation(
        "goal-ulcer overlooks wounds of leg and foot",
        values("goal-ulcer", "wound_site", "leg"),
        "case",
        "foot-wound-service-agrees",
    ),
    Mutation(
        "goal-keep-mild proposes strong",
        concluding("goal-keep-mild", propose="strong"),
        "case",
        "healed-leg-keeps-mild",
    ),
    # Reviews.
    Mutation(
        "an undecided leg waits 48 hours",
        setting("review_cannot_decide_yet", hours(48)),
        "proof",
        "review-always-set",
    ),
    Mutation(
        "a change is reviewed after 4 days", setting("review_change", days(4)), "proof", "review-always-set"
    ),
    Mutation(
        "reviews may be 42 days apart", setting("review_always", days(42)), "proof", "review-always-set"
    ),
    Mutation(
        "an undetermined tier is reviewed after 14 days",
        setting("review_undetermined", days(14)),
        "proof",
        "withdrawing-never-raises",
    ),
    Mutation("support has no review of its own", tier_review("support", None), "proof", "review-always-set"),
    Mutation(
        "wet-review comes after 7 days", concluding("wet-review", review=days(7)), "case", "exudate-not-asked"
    ),
    # Materials and words.
    Mutation("no safety-net advice", no_safety_net, "proof", "safety-net-given"),
    Mutation(
        "paste-allergy avoids nothing",
        concluding("paste-allergy", avoid=()),
        "case",
        "paste-out-with-an-allergy",
    ),
    Mutation(
        "reduced-supply allows stretching bandages",
        concluding("reduced-supply", avoid=()),
        "case",
        "stretching-bandages-out-with-a-reduced-supply",
    ),
)
