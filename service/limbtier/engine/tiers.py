"""How the conclusions of rules combine into the tier, its range, the target and the disposition.

Only minimum, maximum and union are used, so the order of rules never matters.
"""

from __future__ import annotations

from typing import NamedTuple

from limbtier.domain.decision import Disposition
from limbtier.engine.interpreter import APPLIES
from limbtier.engine.prepared import Counting, PreparedEdition

WITHHOLD = 0


class TierRange(NamedTuple):
    """Ranks of tiers, 0 lowest. `given` is the tier given in every disposition."""

    given: int
    highest: int
    target: int
    surely_proposed: int
    possibly_proposed: int
    stopped: bool

    @property
    def determined(self) -> bool:
        """Whether no unanswered question can move the tier."""
        return self.given == self.highest


def tier_range(prepared: PreparedEdition, counting: Counting) -> TierRange:
    """The lowest and the highest tier that the unanswered questions leave open, and the target.

    A limit that is undetermined counts as if it applied; a proposal counts only when it applies.
    """
    top = len(prepared.tier_names) - 1
    surely = possibly = -1
    applying = bounding = lasting = top
    proposes, limits = prepared.proposes, prepared.limits
    for place, state in counting.items():
        proposed = proposes[place]
        if proposed >= 0:
            possibly = max(possibly, proposed)
            if state == APPLIES:
                surely = max(surely, proposed)
        limit = limits[place]
        if limit >= 0:
            bounding = min(bounding, limit)
            if state == APPLIES:
                applying = min(applying, limit)
                if prepared.lasts[place]:
                    lasting = min(lasting, limit)
    return TierRange(
        given=min(max(surely, WITHHOLD), bounding),
        highest=min(max(possibly, WITHHOLD), applying),
        target=min(max(possibly, WITHHOLD), lasting),
        surely_proposed=surely,
        possibly_proposed=possibly,
        stopped=applying == WITHHOLD,
    )


def disposition(tiers: TierRange, now: int | None, support: int) -> Disposition:
    """The first row of the disposition table that fits.

    `now` is the rank of the tier on the leg on arrival: 0 when nothing is on, None when it was not
    recorded. `support` is the rank of the lowest tier above withholding.
    """
    if tiers.stopped:
        return "stop_and_escalate"
    if tiers.possibly_proposed < 0:
        return "not_indicated"
    if tiers.given == WITHHOLD or now is None:
        return "cannot_decide_yet"
    if now == WITHHOLD:
        return "start"
    if tiers.given < now <= tiers.highest:
        return "cannot_decide_yet"
    if now == support == tiers.given < tiers.highest:
        return "cannot_decide_yet"
    if tiers.given < now:
        return "step_down"
    return "continue" if tiers.given == now else "step_up"
