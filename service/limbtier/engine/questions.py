"""Which unanswered inputs could still move the tier, the target, the review or the disposition.

The list may be too long, never too short: it does not see that two undetermined rules exclude one another.
"""

from __future__ import annotations

from collections.abc import Mapping

from limbtier.domain.assessment import Answer
from limbtier.domain.decision import Question
from limbtier.engine.due_dates import latest_review
from limbtier.engine.in_force import NO_REVIEW, InForce
from limbtier.engine.interpreter import UNDETERMINED
from limbtier.engine.prepared import Counting, PreparedEdition
from limbtier.engine.tiers import WITHHOLD, TierRange

DISPOSITION_TABLE = "disposition"


def questions(
    prepared: PreparedEdition,
    counting: Counting,
    facts: Mapping[str, Answer],
    tiers: TierRange,
    settings: InForce,
) -> tuple[Question, ...]:
    """Unanswered inputs behind every undetermined rule that could still matter, in the order of the
    vocabulary, each with those rules. The current tier is asked for the disposition itself."""
    asked: dict[str, list[str]] = {}
    open_rules = [place for place, state in counting.items() if state == UNDETERMINED]
    latest = latest_review(settings, counting, tiers.stopped) if open_rules else NO_REVIEW
    for place in open_rules:
        if _could_matter(prepared, place, tiers, settings.reviews[place], latest):
            for name in prepared.inputs_of_rule[place]:
                if name not in facts:
                    asked.setdefault(name, []).append(prepared.rule_ids[place])
    settled = tiers.stopped or tiers.possibly_proposed < 0
    if "current_tier" not in facts and not settled:
        asked.setdefault("current_tier", []).append(DISPOSITION_TABLE)
    if len(asked) > 1:
        order = prepared.input_order
        return tuple([Question(name, tuple(asked[name])) for name in sorted(asked, key=order.__getitem__)])
    return tuple([Question(name, tuple(rules)) for name, rules in asked.items()])


def _could_matter(prepared: PreparedEdition, place: int, tiers: TierRange, review: int, latest: int) -> bool:
    """Whether an undetermined rule could still move anything.

    A limit at or above the target never can: the target only falls; but one that withholds stops a leg also
    where nothing else is proposed. A proposal can when it is above what is surely proposed. A review can when
    it is shorter than the longest the review can become.
    """
    limit = prepared.limits[place]
    if 0 <= limit < tiers.target or (limit == WITHHOLD and not tiers.stopped):
        return True
    if prepared.proposes[place] > tiers.surely_proposed:
        return True
    return review != NO_REVIEW and review < latest
