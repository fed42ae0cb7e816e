"""What a leg comes to in short is what a decision in full says."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from limbtier.domain.assessment import SIDES
from limbtier.engine.decide import decide_limb
from limbtier.engine.outcome import outcome_of_limb
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.settings import CHECKOUT
from limbtier.foundation.strict_json import read_json
from limbtier.measures.working_days import WorkingCalendar
from limbtier.use_cases.assessment_request import read_assessment
from limbtier.use_cases.decide import ReadyRules
from tests.support.assessments import AssessmentMaker

COHORT = (CHECKOUT / "demo_data" / "assessments.jsonl").read_bytes().splitlines()


def test_every_leg_of_the_demo_cohort_comes_to_what_is_decided(rules: ReadyRules) -> None:
    for line in COHORT:
        assessment, prepared = read_assessment(read_json(line), rules.edition)
        calendar = rules.calendars[assessment.calendar]
        for side in SIDES:
            if side in assessment.limbs:
                short = outcome_of_limb(prepared, side, assessment, calendar)
                full = decide_limb(prepared, side, assessment, calendar)
                assert (short.disposition, short.tier, short.target_tier, short.review_due_on) == (
                    full.disposition,
                    full.tier,
                    full.target_tier,
                    full.review.due_on,
                )


@given(seed=st.integers(0, 2**32))
def test_every_generated_leg_comes_to_what_is_decided(
    seed: int, core: PreparedEdition, england: WorkingCalendar
) -> None:
    assessment = AssessmentMaker(core).make(seed)
    short = outcome_of_limb(core, "left", assessment, england)
    full = decide_limb(core, "left", assessment, england)
    assert (short.disposition, short.tier) == (full.disposition, full.tier)
    assert (short.target_tier, short.review_due_on) == (full.target_tier, full.review.due_on)
