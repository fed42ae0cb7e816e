"""Cards of every decision of the invented caseload: as the standard wants them, and true to the decision."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import orjson
import pytest
from markdown_it import MarkdownIt

from limbtier.domain.card_words import INDICATORS
from limbtier.domain.decision import DISPOSITIONS, Decision
from limbtier.foundation.settings import CHECKOUT
from limbtier.interop.cds_hooks.cards import CardSite, Shown, cards_of, escaped
from limbtier.interop.fhir.identifiers import Identifiers
from limbtier.rulesets.read_cards import load_cards
from limbtier.use_cases.decide import Decider, ReadyRules
from tests.support.cds_hooks import MODELS, PATIENT, SPECIFICATION, model_faults
from tests.support.fhir_validators import faults as fhir_faults
from tests.support.records import CALLER, DECISION_ID

SITE = CardSite(load_cards(CHECKOUT / "rules"), Identifiers("https://limbtier.invalid/fhir"), None)
COHORT = (CHECKOUT / "demo_data" / "assessments.jsonl").read_bytes().splitlines()

Made = tuple[Decision, dict[str, Any], Shown]


def made(rules: ReadyRules, body: bytes, late: int = 0) -> Made:
    """A decision, its record, and what its cards are written from, `late` days after the assessment."""
    decision, writer = Decider(rules).decision(body)
    record = orjson.loads(writer.write(decision, DECISION_ID, body, CALLER))
    day = decision.assessment.assessed_on
    today = day + timedelta(days=late)
    return decision, record, Shown(record, writer.prepared.edition, SITE, day, today, PATIENT)


@pytest.fixture(scope="module")
def caseload(rules: ReadyRules) -> list[Made]:
    return [made(rules, line) for line in COHORT]


def empty_parts(value: Any, path: str = "") -> Iterator[str]:
    """Where a value is empty or null: CDS Hooks knows neither."""
    if value in (None, "", [], {}):
        yield path
    elif isinstance(value, dict):
        for name, item in value.items():
            yield from empty_parts(item, f"{path}/{name}")
    elif isinstance(value, list | tuple):
        for place, item in enumerate(value):
            yield from empty_parts(item, f"{path}/{place}")


def test_every_card_of_the_caseload_is_as_the_standard_says(caseload: list[Made], shared_data: Path) -> None:
    for _, _, shown in caseload:
        answer = orjson.loads(orjson.dumps({"cards": cards_of(shown)}))
        assert model_faults(answer, "CDSHooksResponse", shared_data) == []
        assert list(empty_parts(answer)) == []
        for card in answer["cards"]:
            # What the text says and the models leave out; the invariants of the next version, in words.
            assert 0 < len(card["summary"]) < 140
            assert card["indicator"] in ("info", "warning", "critical")
            assert card["selectionBehavior"] == "at-most-one"
            assert all(reason["display"] for reason in card["overrideReasons"])
            assert all(action["description"] for one in card["suggestions"] for action in one["actions"])
            assert all("isRecommended" not in one for one in card["suggestions"])


# The code lists of HL7's models (FHIR/fhir-tools-ig). That of indicators says `error` where the text of the
# specification, which rules, says `critical`.
def test_our_codes_are_those_of_the_published_lists(caseload: list[Made], shared_data: Path) -> None:
    def codes(name: str) -> set[str]:
        text = (shared_data / MODELS / f"codesystem-{name}.xml").read_text(encoding="utf-8")
        return set(re.findall(r"<concept>\s*<code value=\"([^\"]+)\"", text))

    assert set(INDICATORS) ^ codes("CDSIndicator") == {"critical", "error"}
    shown = [card for one in caseload for card in cards_of(one[2])]
    assert {card["selectionBehavior"] for card in shown} <= codes("CDSSelectionBehavior")
    actions = [action for card in shown for one in card["suggestions"] for action in one["actions"]]
    assert {action["type"] for action in actions} <= codes("CDSActionType")


def test_every_card_is_true_to_its_decision(caseload: list[Made]) -> None:
    seen: set[str] = set()
    for decision, record, shown in caseload:
        cards = cards_of(shown)
        legs = [card["extension"]["invalid.limbtier.decision"]["leg"] for card in cards]
        assert sorted(legs) == sorted(decision.limbs)
        urgency = []
        for card, side in zip(cards, legs, strict=True):
            limb = decision.limbs[side]
            urgency.append((not limb.danger_sign, DISPOSITIONS.index(limb.disposition)))
            seen.add(limb.disposition)
            if limb.danger_sign:
                assert card["indicator"] == "critical"
                assert "DANGER SIGN" in card["summary"]
            elif limb.disposition == "stop_and_escalate":
                assert card["indicator"] == "critical"
            else:
                assert card["indicator"] != "critical"
                waits = decision.person.other_leg_waits and limb.disposition in ("start", "step_up")
                assert ("put nothing new on today" in card["summary"]) == waits
                assert waits <= (card["indicator"] == "warning")
            assert escaped(record["caution"]) in card["detail"]
            assert (escaped(record["limbs"][side]["provisional"] or "\0") in card["detail"]) == (
                not limb.determined
            )
        assert urgency == sorted(urgency)
    assert seen == set(DISPOSITIONS)


def test_a_danger_sign_of_the_person_stands_on_both_cards(rules: ReadyRules) -> None:
    contact = orjson.loads((CHECKOUT / "demo_data" / "both_legs.json").read_bytes())
    contact["person"]["signs_of_sepsis"] = True
    _, _, shown = made(rules, orjson.dumps(contact))
    assert [card["indicator"] for card in cards_of(shown)] == ["critical", "critical"]


def test_once_its_review_is_overdue_a_card_tells_of_no_tier(rules: ReadyRules) -> None:
    for line in COHORT[:60]:
        decision, _, shown = made(rules, line, late=120)
        for card in cards_of(shown):
            limb = decision.limbs[card["extension"]["invalid.limbtier.decision"]["leg"]]
            stopped = limb.danger_sign or limb.disposition == "stop_and_escalate"
            assert ("Assess again" in card["summary"]) != stopped
            assert card["indicator"] in ("warning", "critical")
            assert card["detail"].startswith("**The review that follows from this assessment was due by ")


def test_drafts_name_whatever_is_due_and_order_nothing(caseload: list[Made]) -> None:
    for decision, _, shown in caseload[:40]:
        for card in cards_of(shown):
            limb = decision.limbs[card["extension"]["invalid.limbtier.decision"]["leg"]]
            drafts = [action["resource"] for action in card["suggestions"][0]["actions"]]
            due = [one for one in limb.arrangements if not one.pending]
            assert len(drafts) == 1 + len(due)
            for draft in drafts:
                assert (draft["status"], draft["intent"]) == ("draft", "proposal")
                assert draft["subject"] == {"reference": f"Patient/{PATIENT}"}
                assert re.fullmatch(r"20[0-9]{2}-[0-9]{2}-[0-9]{2}", draft["occurrencePeriod"]["end"])


def test_three_validators_take_a_draft(caseload: list[Made], shared_data: Path) -> None:
    draft = cards_of(caseload[0][2])[0]["suggestions"][0]["actions"][0]["resource"]
    assert fhir_faults(draft, shared_data) == []
    assert fhir_faults({**draft, "status": "nonsense", "subject": None}, shared_data) != []


def test_the_detail_is_markdown_that_shows_the_words_as_they_are(caseload: list[Made]) -> None:
    reader = MarkdownIt("commonmark")
    assert reader.render(escaped("<b> 1 < 2 & *x* _y_ [z](u) `c` \\ # ~")) == (
        "<p>&lt;b&gt; 1 &lt; 2 &amp; *x* _y_ [z](u) `c` \\ # ~</p>\n"
    )
    for _, record, shown in caseload[:20]:
        for card in cards_of(shown):
            html = reader.render(card["detail"])
            # Where nothing was found that compression treats, that itself is the reason.
            assert "<strong>Why</strong>" in html or "nothing that compression treats was found" in html
            tags = set(re.findall(r"</?([a-z0-9]+)", html))
            assert tags <= {"p", "strong", "em", "ul", "li"}
            assert record["caution"] in html


# The answers that the specification prints as examples (CDS Hooks 2.0): the check of our own takes them, and
# finds what was made wrong. `links.autolaunchable` is younger than the models.
@pytest.mark.parametrize(
    ("file", "known"),
    [
        ("2.0_09_response.json", []),
        ("2.0_16_response.json", []),
        ("2.0_17_response.json", ["cards.links.autolaunchable: not in the model"]),
    ],
)
def test_the_check_takes_the_published_answers(file: str, known: list[str], shared_data: Path) -> None:
    answer = json.loads((shared_data / SPECIFICATION / file).read_text())
    assert model_faults(answer, "CDSHooksResponse", shared_data) == known


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ({"summary": None}, "cards.summary: missing"),
        ({"source": None}, "cards.source: missing"),
        ({"source": {}}, "cards.source.label: missing"),
        ({"sumary": "x"}, "cards.sumary: not in the model"),
        ({"suggestions": []}, "cards.suggestions: empty"),
        ({"suggestions": {}}, "cards.suggestions: no list"),
        ({"suggestions": [{"actions": [{"type": "create"}]}]}, "cards.suggestions.label: missing"),
        ({"detail": ""}, "cards.detail: empty"),
    ],
)
def test_the_check_finds_what_is_wrong(change: dict[str, Any], fault: str, shared_data: Path) -> None:
    card = {"summary": "x", "indicator": "info", "source": {"label": "x"}, **change}
    kept = {name: value for name, value in card.items() if value is not None}
    assert fault in model_faults({"cards": [kept]}, "CDSHooksResponse", shared_data)
