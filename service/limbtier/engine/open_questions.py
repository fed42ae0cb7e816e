"""Which unanswered inputs could still move the outcome of one leg, whatever else is answered: how a form
knows what it need not ask.

The outcome is the tier given and its range, the target, the disposition and the review. This list lies within
that of `questions`, which also keeps what only the step-up plan waits for; like that one it may be too long,
never too short. It only ever shrinks: an input that is not in it stays out, whatever is answered next.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import compress
from operator import itemgetter
from typing import NamedTuple

from limbtier.domain.assessment import Answers
from limbtier.engine.decide import SUPPORT, tier_now
from limbtier.engine.due_dates import settings_that_bind
from limbtier.engine.in_force import NO_REVIEW, InForce
from limbtier.engine.interpreter import APPLIES
from limbtier.engine.prepared import PreparedEdition, inputs_behind
from limbtier.engine.tiers import WITHHOLD, TierRange, disposition

DANGER_SIGN = "danger_sign"
CURRENT_TIER = "current_tier"


class OpenLeg(NamedTuple):
    """What is open for one leg: the tiers that are left, and the inputs that could still move the outcome,
    a bit each, at its place in the vocabulary."""

    tiers: TierRange
    inputs: int


class OpenQuestions:
    """Finds the open questions of one edition; built once, shared by all threads."""

    def __init__(self, prepared: PreparedEdition) -> None:
        self.prepared = prepared
        self._bit = {name: 1 << place for name, place in prepared.input_order.items()}
        self._danger_sign = self.bits(inputs_behind(prepared.edition).get(DANGER_SIGN, ()))
        self._current_tier = self.bits([CURRENT_TIER])
        rules = [
            _MovingRule(
                place,
                prepared.proposes[place],
                prepared.limits[place],
                prepared.lasts[place],
                tuple(settings.reviews[place] for settings in prepared.periods.values),
                self.bits(prepared.inputs_of_rule[place]),
            )
            for place in prepared.places
        ]
        self._moving = tuple(rule for rule in rules if rule.moves())
        # Twice the first place, because a getter of one place alone would give no tuple.
        self._states_of = itemgetter(*[rule.place for rule in self._moving], 0, 0)

    def bits(self, names: Iterable[str]) -> int:
        """The inputs among some names, a bit each."""
        found = 0
        for name in names:
            found |= self._bit.get(name, 0)
        return found

    def names(self, bits: int) -> Iterator[str]:
        """The inputs of some bits, in the order of the vocabulary."""
        return (name for name, bit in self._bit.items() if bits & bit)

    def of_leg(self, facts: Answers, answered: int, states: bytes, period: int) -> OpenLeg:
        """`facts` are the answers, measures and derived facts of the leg, `answered` the inputs among them,
        `states` how its rules read, `period` the place of the settings in force."""
        settings = self.prepared.periods.values[period]
        found = self._states_of(states)
        counting = list(compress(zip(self._moving, found, strict=False), found))
        applying = [rule for rule, state in counting if state == APPLIES]
        undetermined = [rule for rule, state in counting if state != APPLIES]
        top = len(self.prepared.tier_names) - 1
        surely = max([rule.proposes for rule in applying], default=-1)
        possibly = max([rule.proposes for rule in undetermined], default=-1)
        applies = min([rule.limit for rule in applying if rule.limit >= 0], default=top)
        lasting = min([rule.limit for rule in applying if rule.lasts], default=top)
        bounding = min([rule.limit for rule in undetermined if rule.limit >= 0], default=top)
        goal, possibly = max(surely, WITHHOLD), max(surely, possibly)
        tiers = TierRange(
            given=min(goal, applies, bounding),
            highest=min(max(possibly, WITHHOLD), applies),
            target=min(max(possibly, WITHHOLD), lasting),
            surely_proposed=surely,
            possibly_proposed=possibly,
            stopped=applies == WITHHOLD,
        )
        now = tier_now(self.prepared, facts)
        lowest_target = min([goal, lasting, *[rule.limit for rule in undetermined if rule.lasts]])
        latest = _latest_review(tiers, now, lowest_target, settings)
        latest = min(
            [latest, *[rule.reviews[period] for rule in applying if rule.reviews[period] != NO_REVIEW]]
        )
        # A proposal moves nothing once what is surely proposed reaches a limit that lasts.
        goal_open = tiers.target > goal or (goal == WITHHOLD and not tiers.stopped)
        inputs = 0
        for rule in undetermined:
            # A limit that something lifts moves only what no applying limit holds as low already; one that
            # withholds stops a leg also where nothing is proposed.
            if (
                (rule.limit == WITHHOLD and not tiers.stopped)
                or (0 <= rule.limit < tiers.target and (rule.limit < applies or rule.lasts))
                or (goal_open and rule.proposes > surely)
                or NO_REVIEW < rule.reviews[period] < latest
            ):
                inputs |= rule.reads
        if now is None and possibly >= 0 and not tiers.stopped:
            inputs |= self._current_tier
        if tiers.stopped and DANGER_SIGN not in facts:
            # Whether it is for a danger sign says whether the other leg waits.
            inputs |= self._danger_sign
        return OpenLeg(tiers, inputs & ~answered)


class _MovingRule(NamedTuple):
    """A rule that can move the outcome: the ranks of its proposal and its limit (-1: none), whether the limit
    lasts, its review in each period, and the inputs behind all that it reads."""

    place: int
    proposes: int
    limit: int
    lasts: bool
    reviews: tuple[int, ...]
    reads: int

    def moves(self) -> bool:
        """Whether it has any of these."""
        return self.proposes >= 0 or self.limit >= 0 or any(one != NO_REVIEW for one in self.reviews)


def _latest_review(tiers: TierRange, now: int | None, lowest_target: int, settings: InForce) -> int:
    """Days within which settings surely put the review: those that bind however the open questions turn out.
    `lowest_target` is the lowest that the target can become."""
    if tiers.stopped:
        bounds = [settings.lengths["review_always"], settings.lengths["review_stop_and_escalate"]]
    elif tiers.determined and tiers.given > WITHHOLD and now is not None:
        settled = tiers._replace(target=lowest_target)  # tier and disposition cannot change any more
        outcome = disposition(settled, now, SUPPORT)
        bounds = [settings.lengths[name] for name in settings_that_bind(settled, outcome)]
    else:
        return settings.lengths["review_always"]
    at_tier = settings.tier_reviews[tiers.given]
    return min(bounds if at_tier == NO_REVIEW else [*bounds, at_tier])
