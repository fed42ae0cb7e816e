"""Every check there is, by topic and id. A check that is not listed here is not run; a test finds such."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from limbtier.governance.checks.cases import (
    case_repeated,
    edge_without_case,
    outcome_without_case,
    period_without_case,
    rule_without_case,
    value_without_case,
)
from limbtier.governance.checks.check import Check
from limbtier.governance.checks.lists import (
    added_material_not_avoided,
    arrangements_in_a_ring,
    tier_without_material,
    title_repeated,
    unused_arrangement,
    unused_material,
    unused_setting,
    waits_for_nothing,
)
from limbtier.governance.checks.reach import (
    disposition_unreachable,
    fact_always_the_same,
    material_never_chosen,
    nothing_to_put_on,
    review_never_first,
    rule_never_applies,
    rule_never_matters,
    rule_subsumed,
    technique_never_shown,
    tier_unreachable,
)
from limbtier.governance.checks.rules import (
    alternative_not_needed,
    always_or_never,
    contradictory_materials,
    contradictory_tests,
    edges_leave_a_gap,
    figures_differ,
    instruction_never_shown,
    lift_not_arranged,
    lift_too_late,
    limit_limits_nothing,
    raised_without_reading,
    same_condition,
)
from limbtier.governance.checks.suppressions import (
    suppression_expired,
    suppression_unused,
)
from limbtier.governance.checks.upkeep import (
    edition_review_overdue,
    guard_rails_not_newest,
    source_overdue,
    unused_source,
)
from limbtier.governance.checks.vocabulary import (
    danger_sign_without_rule,
    unmeasured_not_treated,
    unread_fact,
    unused_input,
    unused_lift,
)
from limbtier.governance.checks.wording import (
    brand_named,
    hard_to_read,
    person_named,
    reason_says_nothing,
    sentence_too_long,
)

BY_TOPIC: Final[Mapping[str, tuple[Check, ...]]] = {
    "Vocabulary": (
        danger_sign_without_rule.CHECK,
        unmeasured_not_treated.CHECK,
        unread_fact.CHECK,
        unused_input.CHECK,
        unused_lift.CHECK,
    ),
    "Lists of an edition": (
        added_material_not_avoided.CHECK,
        arrangements_in_a_ring.CHECK,
        tier_without_material.CHECK,
        title_repeated.CHECK,
        unused_arrangement.CHECK,
        unused_material.CHECK,
        unused_setting.CHECK,
        waits_for_nothing.CHECK,
    ),
    "Rules": (
        alternative_not_needed.CHECK,
        always_or_never.CHECK,
        contradictory_materials.CHECK,
        contradictory_tests.CHECK,
        edges_leave_a_gap.CHECK,
        figures_differ.CHECK,
        instruction_never_shown.CHECK,
        lift_not_arranged.CHECK,
        lift_too_late.CHECK,
        limit_limits_nothing.CHECK,
        raised_without_reading.CHECK,
        same_condition.CHECK,
    ),
    "Wording": (
        brand_named.CHECK,
        hard_to_read.CHECK,
        person_named.CHECK,
        reason_says_nothing.CHECK,
        sentence_too_long.CHECK,
    ),
    "Worked cases": (
        case_repeated.CHECK,
        edge_without_case.CHECK,
        outcome_without_case.CHECK,
        period_without_case.CHECK,
        rule_without_case.CHECK,
        value_without_case.CHECK,
    ),
    "Upkeep": (
        edition_review_overdue.CHECK,
        guard_rails_not_newest.CHECK,
        source_overdue.CHECK,
        unused_source.CHECK,
    ),
    "What any assessment can reach": (
        disposition_unreachable.CHECK,
        fact_always_the_same.CHECK,
        material_never_chosen.CHECK,
        nothing_to_put_on.CHECK,
        review_never_first.CHECK,
        rule_never_applies.CHECK,
        rule_never_matters.CHECK,
        rule_subsumed.CHECK,
        technique_never_shown.CHECK,
        tier_unreachable.CHECK,
    ),
    "Accepted findings": (
        suppression_expired.CHECK,
        suppression_unused.CHECK,
    ),
}

CHECKS: Final[Mapping[str, Check]] = {one.id: one for checks in BY_TOPIC.values() for one in checks}
