"""An edition made ready to decide: compiled once, shared by all threads, never changed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple, Protocol

from limbtier.domain.assessment import Answers
from limbtier.domain.condition import ALWAYS, Condition, names
from limbtier.domain.decision import DISPOSITIONS, Held
from limbtier.domain.edition import Edition, Material
from limbtier.domain.rule import GuardRails, Requirement, Rule
from limbtier.engine.answers import AnswerReader
from limbtier.engine.compiled import CompiledRules, Reading, compile_conditions, compile_rules
from limbtier.engine.in_force import Periods, periods
from limbtier.measures.bandage import bandage_length_cm
from limbtier.measures.interface_pressure import interface_pressure_mmhg
from limbtier.measures.registry import MEASURES

# Of the rules that apply or are undetermined: the place in the edition, and which of both it is.
Counting = Mapping[int, int]


class MaterialEstimates(NamedTuple):
    """What a material delivers and needs, in binary numbers: the pressure in mmHg at a girth of 1 cm (by the
    girth, it is that of a leg), the length in cm for a square cm of skin (by the skin, it is that of a leg),
    the length of one roll in cm; None where the edition does not say enough."""

    pressure: float | None
    length: float | None
    roll: float | None


class PreparedCheck(NamedTuple):
    """A demand of the guard rail with the id `rail`: for which decisions, the highest rank of a tier, within
    how many days the review (None: it demands neither), and what else is required."""

    rail: str
    dispositions: tuple[str, ...]
    tiers: tuple[str, ...]
    highest: int | None
    review_days: int | None
    require: Requirement


class SecondEngine(Protocol):
    """What the matcher offers: one byte for each rule, read independently of the interpreter."""

    def match(self, facts: Answers) -> bytes:
        """0 does not apply, 1 undetermined, 2 applies."""


@dataclass(frozen=True, slots=True, repr=False)
class PreparedEdition:
    """Everything about an edition that can be worked out before the first assessment.

    For each rule, `proposes` and `limits` hold the rank of the tier, -1 where it concludes none, `lasts`
    whether it limits without anything that could lift it, `inputs_of_rule` the inputs behind all it reads.
    `places` are those of all rules, `rule_ids` their ids, `avoids` the materials that each avoids.
    `held` has for a rule that limits the entries of a decision: undetermined or applying, and each not at
    the tier given, or at it. `choices` give for a tier, and each rule, the
    materials it chooses that serve the tier; `estimates` what is estimated of each material.
    `step_limits` are the places of the limits that hold a leg at its tier until a good review there.
    `counts_as` gives for choices of an input those that guard rails take them for; `guard_checks` stand in
    the order in which `guards` reads their conditions.
    """

    edition: Edition
    guard_rails: GuardRails
    answers: AnswerReader
    rules: CompiledRules
    guards: CompiledRules
    places: range
    rule_ids: tuple[str, ...]
    proposes: tuple[int, ...]
    limits: tuple[int, ...]
    held: Mapping[int, tuple[tuple[Held, Held], ...]]
    lasts: tuple[bool, ...]
    avoids: tuple[tuple[str, ...], ...]
    estimates: Mapping[str, MaterialEstimates]
    guard_checks: tuple[PreparedCheck, ...]
    ranks: Mapping[str, int]
    choices: Mapping[str, tuple[tuple[str, ...], ...]]
    counts_as: Mapping[str, Mapping[str, str]]
    tier_names: tuple[str, ...]
    inputs_of_rule: tuple[tuple[str, ...], ...]
    step_limits: tuple[int, ...]
    step_names: tuple[str, ...]
    read_step_limits: Callable[[Answers], Reading]
    input_order: Mapping[str, int]
    matcher: SecondEngine
    periods: Periods

    def as_guarded(self, facts: Answers) -> Answers:
        """The facts as guard rails know them: a choice that counts as another is that other."""
        if not self.counts_as:
            return facts
        known = dict(facts)
        for name, others in self.counts_as.items():
            answer = facts.get(name)
            if isinstance(answer, str):
                known[name] = others.get(answer, answer)
        return known


def prepare(
    edition: Edition, guard_rails: GuardRails, matcher_for: Callable[[Sequence[Rule]], SecondEngine]
) -> PreparedEdition:
    """Compile an edition and the guard rails that bind it. `matcher_for` makes the matcher of its rules,
    which any thread may call."""
    ranks = {tier.name: rank for rank, tier in enumerate(edition.tiers)}
    sources = inputs_behind(edition)
    step_limits = tuple(
        place
        for place, rule in enumerate(edition.rules)
        if rule.then.limit is not None
        and rule.then.limit.until == "good_review"
        and "current_tier" in names(rule.when)
    )
    step_names, read_step_limits = _step_reader(edition, step_limits)
    guard_checks, guards = prepare_checks(guard_rails, ranks)
    return PreparedEdition(
        edition=edition,
        guard_rails=guard_rails,
        answers=AnswerReader(edition.vocabulary),
        rules=compile_rules(edition.rules, edition.strata),
        guards=guards,
        places=range(len(edition.rules)),
        rule_ids=tuple(rule.id for rule in edition.rules),
        proposes=tuple(ranks[r.then.propose] if r.then.propose else -1 for r in edition.rules),
        limits=tuple(ranks[r.then.limit.tier] if r.then.limit else -1 for r in edition.rules),
        held=_held(edition),
        lasts=tuple(r.then.limit is not None and r.then.limit.until is None for r in edition.rules),
        avoids=tuple(rule.then.avoid for rule in edition.rules),
        estimates={name: _estimates(material) for name, material in edition.materials.items()},
        guard_checks=guard_checks,
        ranks=ranks,
        choices={
            tier: tuple(
                tuple(name for name in rule.then.choose if tier in edition.materials[name].tiers)
                for rule in edition.rules
            )
            for tier in ranks
        },
        counts_as={
            name: others
            for name, entry in edition.vocabulary.inputs.items()
            if (others := {one.value: one.counts_as for one in entry.choices if one.counts_as})
        },
        tier_names=tuple(tier.name for tier in edition.tiers),
        inputs_of_rule=tuple(
            tuple(name for name in edition.vocabulary.inputs if name in behind(rule.when, sources))
            for rule in edition.rules
        ),
        step_limits=step_limits,
        step_names=step_names,
        read_step_limits=read_step_limits,
        input_order={name: place for place, name in enumerate(edition.vocabulary.inputs)},
        matcher=matcher_for(edition.rules),
        periods=periods(edition),
    )


def _held(edition: Edition) -> dict[int, tuple[tuple[Held, Held], ...]]:
    return {
        place: tuple(
            (
                Held(rule.id, limit.tier, undetermined, limit.until, at_tier_given=False),
                Held(rule.id, limit.tier, undetermined, limit.until, at_tier_given=True),
            )
            for undetermined in (True, False)
        )
        for place, rule in enumerate(edition.rules)
        if (limit := rule.then.limit) is not None
    }


def prepare_checks(
    guard_rails: GuardRails, ranks: Mapping[str, int]
) -> tuple[tuple[PreparedCheck, ...], CompiledRules]:
    """The checks of all guard rails, and what reads in which assessments each binds, in the same order.
    `ranks` are those of all tiers, lowest first."""
    checks = [(rail, check) for rail in guard_rails.rails for check in rail.checks]
    prepared = tuple(
        PreparedCheck(
            rail.id,
            check.dispositions or DISPOSITIONS,
            check.tiers or tuple(ranks),
            None if check.require.tier_at_most is None else ranks[check.require.tier_at_most],
            None if check.require.review_within is None else check.require.review_within.days(),
            check.require,
        )
        for rail, check in checks
    )
    return prepared, compile_conditions([check.when for _, check in checks])


def _estimates(material: Material) -> MaterialEstimates:
    pressure = length = None
    if material.layers is not None and material.tension_kgf is not None and material.width_cm is not None:
        pressure = interface_pressure_mmhg(
            layers=Fraction(material.layers),
            tension_kgf=material.tension_kgf,
            girth_cm=Fraction(1),
            width_cm=material.width_cm,
        )
    if material.width_cm is not None and material.overlap is not None:
        length = bandage_length_cm(Fraction(1), material.width_cm, material.overlap)
    roll = material.roll_length_cm
    return MaterialEstimates(
        float(pressure) if pressure else None,
        None if length is None else float(length),
        None if roll is None else float(roll),
    )


def inputs_behind(edition: Edition) -> dict[str, frozenset[str]]:
    """For every input, measure and derived fact: the inputs whose answers can settle it, its own
    question's condition included."""
    found: dict[str, frozenset[str]] = {}
    for name, entry in edition.vocabulary.inputs.items():
        found[name] = frozenset({name}) | behind(entry.asked_when or ALWAYS, found)
    for measure in MEASURES:
        found[measure.name] = _union(found.get(name, frozenset()) for name in measure.ingredients)
    for name in edition.vocabulary.facts:
        found[name] = frozenset()
    for rule in edition.rules:  # strata order: what a rule reads is complete before it classifies
        for name in rule.then.classify:
            found[name] |= behind(rule.when, found)
    return found


def behind(condition: Condition, sources: dict[str, frozenset[str]]) -> frozenset[str]:
    """The inputs behind everything a condition reads."""
    return _union(sources.get(name, frozenset()) for name in names(condition))


def _union(sets: Iterable[frozenset[str]]) -> frozenset[str]:
    return frozenset().union(*sets)


def _step_reader(
    edition: Edition, step_limits: tuple[int, ...]
) -> tuple[tuple[str, ...], Callable[[Answers], Reading]]:
    """Reads only the limits that hold a leg for a good review at its tier, and the rules they need."""
    wanted = {edition.rules[place].id for place in step_limits}
    needed = {name for place in step_limits for name in names(edition.rules[place].when)}
    chosen: list[tuple[Rule, int]] = []
    for rule, stratum in reversed(list(zip(edition.rules, edition.strata, strict=True))):
        if rule.id in wanted or needed & set(rule.then.classify):
            needed |= names(rule.when)
            chosen.append((rule, stratum))
    chosen.reverse()
    # The step limits come first in the answer of the reader, whatever classifies what they read.
    ordered = sorted(chosen, key=lambda pair: pair[0].id not in wanted)
    compiled = compile_rules([rule for rule, _ in ordered], [stratum for _, stratum in ordered])
    return tuple(sorted(needed)), compiled.read
