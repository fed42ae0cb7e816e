"""Cards of a decision: one a leg, the danger sign first.

Nothing of what the client sent is repeated on a card but the id of the patient in a drafted order: the words
are those of the edition and of `cards.yaml`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from limbtier.domain.assessment import SIDES, Side
from limbtier.domain.card_words import INDICATORS, LONGEST_SUMMARY, CardWords, Indicator
from limbtier.domain.decision import DISPOSITIONS
from limbtier.domain.edition import Edition, Tier
from limbtier.interop.cds_hooks.card_ids import card_id, suggestion_id
from limbtier.interop.cds_hooks.codes import EXTENSION, TOPIC, override_reasons, topics
from limbtier.interop.cds_hooks.draft_orders import draft_orders
from limbtier.interop.fhir.identifiers import Identifiers

MOST_QUESTIONS: Final = 8
_MARKDOWN: Final = re.compile(r"([\\`*_\[\]<>|~&#])")
_APPLIES: Final = "applies"
_NEW: Final = ("start", "step_up")
DANGER_SIGN: Final = "danger_sign"

Card = dict[str, Any]
Record = Mapping[str, Any]
"""A decision's record, or a part of it."""


@dataclass(frozen=True, slots=True)
class CardSite:
    """What all cards of a deployment share. `base_url` is where the service is reached, None where that is
    not set."""

    words: CardWords
    names: Identifiers
    base_url: str | None


@dataclass(frozen=True, slots=True)
class Shown:
    """What the cards of one decision are written from: its record, and the edition that made it. `assessed`
    is the day of the assessment and `today` that of the answer, by United Kingdom clocks; `patient` is the id
    in the client's FHIR server; `notes` tell what was converted or passed over in what was sent along."""

    record: Record
    edition: Edition
    site: CardSite
    assessed: date
    today: date
    patient: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Leg:
    """One leg of a record."""

    side: Side
    record: Record
    tier: Tier
    due_on: date
    danger_sign: bool


def cards_of(shown: Shown) -> list[Card]:
    """The cards, those with a danger sign first, then the most urgent, then the left leg."""
    legs = [_leg(shown, side, shown.record["limbs"][side]) for side in SIDES if side in shown.record["limbs"]]
    order = sorted(legs, key=lambda leg: (not leg.danger_sign, DISPOSITIONS.index(leg.record["disposition"])))
    return [_card(shown, leg) for leg in order]


def _leg(shown: Shown, side: Side, record: Record) -> Leg:
    tier = shown.edition.tiers[shown.edition.rank(record["tier"])]
    danger_sign = any(
        reason["state"] == _APPLIES and DANGER_SIGN in reason["concludes"].get("classify", ())
        for reason in record["reasons"]
    )
    return Leg(side, record, tier, date.fromisoformat(record["review"]["due_on"]), danger_sign)


def absence_card(site: CardSite, edition: Edition | None) -> Card:
    """The card that says that there is no assessment. It rests on no decision, so it has no id."""
    detail = escaped(site.words.notes["no_assessment"])
    if edition is not None:
        detail += f"\n\n_{escaped(edition.wording.caution)}_"
    return {
        "summary": site.words.summaries["no_assessment"][:LONGEST_SUMMARY],
        "detail": detail,
        "indicator": "warning",
        "source": _source(site, edition),
    }


def card_rules(limb: Record) -> list[str]:
    """The rules that the tier given rests on: those that hold the leg there; where none does, those that
    propose that tier."""
    held = dict.fromkeys(one["rule"] for one in limb["limits"] if one["at_tier_given"])
    return list(held) or [
        reason["rule"]
        for reason in limb["reasons"]
        if reason["state"] == _APPLIES and reason["concludes"].get("propose") == limb["tier"]
    ]


def _card(shown: Shown, leg: Leg) -> Card:
    card = card_id(shown.record["id"], leg.side)
    system = override_reasons(shown.site.names)
    return {
        "uuid": card,
        "summary": _summary(shown, leg),
        "detail": "\n\n".join(_paragraphs(shown, leg)),
        "indicator": _indicator(shown, leg),
        "source": _source(shown.site, shown.edition),
        "suggestions": [
            {
                "label": "Draft the review and what is to be arranged",
                "uuid": suggestion_id(card),
                "actions": [
                    {
                        "type": "create",
                        "description": f"Draft, to be checked and signed: {order['code']['text']}",
                        "resource": order,
                    }
                    for order in draft_orders(shown.record, leg.side, shown.patient)
                ],
            }
        ],
        "selectionBehavior": "at-most-one",
        "overrideReasons": [
            {"code": reason.code, "system": system, "display": reason.display}
            for reason in shown.site.words.override_reasons.values()
        ],
        "extension": {EXTENSION: _rests_on(shown, leg)},
    }


def _rests_on(shown: Shown, leg: Leg) -> dict[str, Any]:
    """What the card rests on; CDS Hooks knows no empty lists, so `rules` may be left out."""
    found = {"decision": shown.record["id"], "edition": shown.edition.id, "leg": leg.side}
    rules = card_rules(leg.record)
    return {**found, "rules": rules} if rules else found


def _source(site: CardSite, edition: Edition | None) -> dict[str, Any]:
    named = "limbtier" if edition is None else f"limbtier, edition {edition.id}"
    source: dict[str, Any] = {"label": named}
    if site.base_url is not None and edition is not None:
        source["url"] = f"{site.base_url}/v1/editions/{edition.id}"
    return {**source, "topic": {"code": TOPIC, "system": topics(site.names), "display": site.words.topic}}


def _kind(shown: Shown, leg: Leg) -> str:
    """Which summary fits. That there is to be no compression is told whatever the age of the assessment."""
    disposition: str = leg.record["disposition"]
    if leg.danger_sign:
        return "danger_sign"
    if disposition == "stop_and_escalate":
        return disposition
    if leg.due_on < shown.today:
        return "overdue"
    return "other_leg_waits" if _waits(shown, leg) else disposition


def _waits(shown: Shown, leg: Leg) -> bool:
    """Whether the leg must wait because of a danger sign in the other."""
    told: str = shown.record["person"]["text"]
    return leg.record["disposition"] in _NEW and shown.edition.wording.other_leg_waits in told


def _summary(shown: Shown, leg: Leg) -> str:
    text = _filled(shown.site.words.summaries[_kind(shown, leg)], leg)
    return text if len(text) <= LONGEST_SUMMARY else text[: LONGEST_SUMMARY - 1].rstrip() + "…"


def _indicator(shown: Shown, leg: Leg) -> Indicator:
    """That of the disposition; critical with a danger sign, and at least a warning when the assessment is
    too old or the other leg comes first."""
    if leg.danger_sign:
        return "critical"
    usual = shown.site.words.indicators[leg.record["disposition"]]
    if leg.due_on < shown.today or _waits(shown, leg):
        return max(usual, "warning", key=INDICATORS.index)
    return usual


def _filled(template: str, leg: Leg) -> str:
    """A text of `cards.yaml` with what its marks stand for."""
    return (
        template.replace("{leg}", f"{leg.side.capitalize()} leg")
        .replace("{tier}", leg.tier.title.lower())
        .replace("{day}", written(leg.due_on))
    )


def _paragraphs(shown: Shown, leg: Leg) -> Iterator[str]:
    limb, wording = leg.record, shown.edition.wording
    if leg.due_on < shown.today:
        yield f"**{escaped(_filled(shown.site.words.notes['overdue'], leg))}**"
    if _waits(shown, leg):
        yield f"**{escaped(wording.other_leg_waits)}**"
    outcome = escaped(wording.dispositions[limb["disposition"]])
    tier = f"Tier: {escaped(leg.tier.title)} ({escaped(leg.tier.intended_pressure)})."
    yield f"**{leg.side.capitalize()} leg: {outcome}.** {tier}"
    if limb["provisional"]:
        yield escaped(limb["provisional"])
    yield f"Assessed on {written(shown.assessed)}. Review by {written(leg.due_on)}."
    if limb["review"]["note"]:
        yield escaped(limb["review"]["note"])
    named = {*card_rules(limb), *limb["review"]["set_by"]}
    yield from _listed("Why", (_reason(one) for one in limb["reasons"] if one["rule"] in named))
    yield from _listed(
        "To arrange",
        (
            f"{escaped(one['title'])}, by {written(date.fromisoformat(one['due_on']))}"
            for one in limb["arrangements"]
            if one["state"] == "due"
        ),
    )
    asked = [escaped(one["question"]) for one in limb["questions"]]
    if len(asked) > MOST_QUESTIONS:
        asked[MOST_QUESTIONS:] = [f"and {len(asked) - MOST_QUESTIONS} more"]
    yield from _listed("Not answered yet", asked)
    yield from _listed("Cautions", map(escaped, dict.fromkeys(one["text"] for one in limb["cautions"])))
    warnings = [f"{one['message']} {one['help']}" for one in shown.record["warnings"]]
    yield from _listed("Check these entries", map(escaped, [*warnings, *shown.notes]))
    yield f"_{escaped(shown.record['caution'])}_"
    yield f"Decision {shown.record['id']} by edition {shown.edition.id}."


def _reason(reason: Record) -> str:
    """Title and reason; that a rule counts only because of an open question is said."""
    open_question = "" if reason["state"] == _APPLIES else " (counts until its questions are answered)"
    return f"{escaped(reason['title'])}{open_question}: {escaped(reason['because'])}"


def _listed(title: str, entries: Iterable[str]) -> Iterator[str]:
    lines = [f"- {one}" for one in entries]
    if lines:
        yield "\n".join([f"**{title}**", "", *lines])


def escaped(text: str) -> str:
    """Text that Markdown shows as it is."""
    return _MARKDOWN.sub(r"\\\1", text)


def written(day: date) -> str:
    """A day in words, such as 2 March 2026."""
    return f"{day.day} {day:%B %Y}"
