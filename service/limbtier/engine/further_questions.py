"""Which unanswered inputs move no outcome any more and still something else that is done or told.

The whole of a decision hangs on the open questions and on these; all other unanswered inputs change nothing
of it but the list of rules that were read. This list may be too long, never too short.
"""

from __future__ import annotations

from typing import Final, Literal

from limbtier.domain.decision import LimbDecision
from limbtier.engine.form import FormReader
from limbtier.engine.in_force import InForce
from limbtier.engine.interpreter import UNDETERMINED

Change = Literal["arrangements", "cautions", "materials", "step_up_plan", "technique"]
FIRST_CONTACT: Final = "first_contact_on"
ESTIMATED_FROM: Final = ("ankle_girth_cm", "calf_girth_cm", "girth_series_cm", "dressing_thickness_mm")
"""What the pressure and the length of a chosen bandage are estimated from; no rule need read it."""


def further_inputs(reader: FormReader, limb: LimbDecision, settings: InForce) -> dict[Change, int]:
    """For each part of the decision that is still open: the inputs that could change it, answered ones and
    those that could move the outcome among them; a bit each."""
    prepared = reader.prepared
    lowest = prepared.tier_names[0]
    applied = limb.highest_possible_tier != lowest  # otherwise nothing is put on the leg
    planned = limb.tier != limb.target_tier
    found: dict[Change, int] = {}

    def add(change: Change, inputs: int) -> None:
        found[change] = found.get(change, 0) | inputs

    for place, state in enumerate(limb.trace.rules):
        if not state:
            continue
        then = prepared.edition.rules[place].then
        if any(arrange.within.kind == "days_of_first_contact" for arrange in settings.arranges[place]):
            add("arrangements", reader.open.bits([FIRST_CONTACT]))
        if state != UNDETERMINED:
            continue
        reads = reader.open.bits(prepared.inputs_of_rule[place])
        if then.arrange:
            add("arrangements", reads)
        if then.caution:
            add("cautions", reads)
        if applied and (then.choose or then.avoid):
            add("materials", reads)
        if applied and then.instruct:
            add("technique", reads)
        if planned and (then.limit is not None or then.propose is not None):
            add("step_up_plan", reads)
    if applied:
        add("materials", reader.open.bits(ESTIMATED_FROM))
    if planned:
        add("step_up_plan", reader.step_inputs)
    return found
