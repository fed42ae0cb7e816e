"""Due dates on the working days of a team."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from limbtier.foundation.errors import InvalidAssessment
from limbtier.foundation.settings import CHECKOUT
from limbtier.use_cases.decide import Decider, ReadyRules
from limbtier.use_cases.decision_text import decision_text

FIRST_CONTACT = json.loads((CHECKOUT / "demo_data" / "first_contact.json").read_text(encoding="utf-8"))


def decided(rules: ReadyRules, day: date, calendar: str) -> dict[str, Any]:
    at = datetime(day.year, day.month, day.day, 9, 30, tzinfo=UTC)
    request = {**FIRST_CONTACT, "assessed_at": at.isoformat(), "calendar": calendar}
    leg = {**request["limbs"]["left"], "first_contact_on": day.isoformat()}
    request["limbs"] = {"left": leg}
    found: dict[str, Any] = json.loads(Decider(rules).preview(json.dumps(request).encode()))
    return found


def due_on(record: dict[str, Any]) -> date:
    return date.fromisoformat(record["limbs"]["left"]["review"]["due_on"])


def test_a_clinic_of_three_days_a_week_reviews_no_later_than_its_nation_while_it_has_a_day(
    rules: ReadyRules,
) -> None:
    for count in range(120):
        day = date(2027, 1, 4) + timedelta(days=count)
        nation, clinic = (due_on(decided(rules, day, name)) for name in ("england", "quillerbeck_leg_clinic"))
        latest = day + timedelta(days=2)  # this contact is reviewed within 48 hours
        assert clinic <= nation or clinic == latest, day


def test_a_team_that_works_at_weekends_may_review_on_a_saturday(rules: ReadyRules) -> None:
    thursday = date(2026, 3, 5)
    assert due_on(decided(rules, thursday, "quillerbeck_weekend")) == date(2026, 3, 7)
    assert due_on(decided(rules, thursday, "england")) == date(2026, 3, 6)


def test_no_working_day_before_the_end_is_said_with_the_last_possible_contact(rules: ReadyRules) -> None:
    record = decided(rules, date(2027, 3, 12), "quillerbeck_leg_clinic")  # a Friday, before a week closed
    review = record["limbs"]["left"]["review"]
    assert review["note"].startswith("No working day falls between today and the end")
    assert due_on(record) == date(2027, 3, 14)
    told = " ".join(decision_text(record).split())
    assert "The last possible contact is Sun 14 March 2027." in told


def test_a_closure_announced_later_leaves_earlier_decisions_as_they_were(rules: ReadyRules) -> None:
    before, after = date(2026, 11, 24), date(2026, 11, 25)
    calendar = rules.calendars["quillerbeck_weekend"]
    assert calendar.as_of(before).is_working_day(date(2026, 12, 25))
    assert not calendar.as_of(after).is_working_day(date(2026, 12, 25))


def test_an_unknown_calendar_is_refused_with_those_there_are(rules: ReadyRules) -> None:
    with pytest.raises(InvalidAssessment) as caught:
        decided(rules, date(2026, 3, 5), "quillerbeck_leg_clinics")
    (found,) = caught.value.diagnostics
    assert (found.code, found.pointer) == ("unknown-choice", "/calendar")
    assert found.help == "Did you mean `quillerbeck_leg_clinic`?"
