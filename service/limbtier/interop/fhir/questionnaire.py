"""An edition's vocabulary as a FHIR Questionnaire, so that any FHIR form filler can ask its questions."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import date, timedelta
from fractions import Fraction
from typing import Any, Final

from limbtier.domain.edition import Edition
from limbtier.domain.vocabulary import Input
from limbtier.engine.answers import MOST_GIRTHS
from limbtier.foundation.answer_states import NOT_DONE
from limbtier.interop.fhir.form import CALENDAR, EnableWhen, Form, Item
from limbtier.interop.fhir.identifiers import EXTENSIONS, UCUM, Identifiers, resource_id

Json = dict[str, Any]

STATUS: Final = {"draft": "draft", "released": "active", "retired": "retired"}
# Units of the vocabulary as UCUM writes them.
UNITS: Final = {
    "mmHg": "mm[Hg]",
    "cm": "cm",
    "mm": "mm",
    "cm2": "cm2",
    "kg": "kg",
    "ml": "mL",
    "%": "%",
    "years": "a",
    "months": "mo",
    "weeks": "wk",
    "days": "d",
}
_ITEM_CONTROL: Final = "http://hl7.org/fhir/questionnaire-item-control"


def questionnaire(
    edition: Edition,
    form: Form,
    calendars: Collection[str],
    names: Identifiers,
    until: date | None = None,
) -> Json:
    """The questionnaire of an edition; its version is that of the edition. `calendars` may be chosen from;
    from the day `until` on another edition is in force."""
    start = edition.effective_from
    period = {"start": start.isoformat()}
    if until is not None and until > start:
        period["end"] = (until - timedelta(days=1)).isoformat()
    never = until is not None and until <= start
    return {
        "resourceType": "Questionnaire",
        "id": resource_id(edition.id),
        "url": names.questionnaire(edition.name),
        "version": edition.version,
        "name": f"Limbtier_{edition.name}",
        "title": edition.title,
        "status": "retired" if never else STATUS[edition.status],
        "subjectType": ["Patient"],
        "date": start.isoformat(),
        "description": f"The questions of the edition {edition.id}. Leave out what was not asked: an answer "
        f"that is absent is never a no. {edition.wording.caution}",
        "effectivePeriod": period,
        "item": [_item(item, calendars, names) for item in form.groups],
    }


def superseded_on(edition: Edition, editions: Iterable[Edition]) -> date | None:
    """The day from which a later released edition of the same rule set is in force."""
    later = [
        one.effective_from
        for one in editions
        if one.name == edition.name and one.status == "released" and _order(one) > _order(edition)
    ]
    return min(later, default=None)


def _order(edition: Edition) -> tuple[date, tuple[int, ...]]:
    return edition.effective_from, tuple(int(part) for part in edition.version.split("."))


def canonical(edition: Edition, names: Identifiers) -> str:
    """The canonical of an edition's questionnaire with its version, as a response must name it."""
    return f"{names.questionnaire(edition.name)}|{edition.version}"


def _item(item: Item, calendars: Collection[str], names: Identifiers) -> Json:
    found: Json = {"linkId": item.link_id, "text": item.text, "type": item.type}
    if item.enable_when:
        found["enableWhen"] = [_enable_when(test, names) for test in item.enable_when]
        if len(item.enable_when) > 1:
            found["enableBehavior"] = "all" if item.enable_all else "any"
    if item.link_id == CALENDAR:
        system = names.codes("calendar")
        found["required"] = True
        found["answerOption"] = [_option(system, name, name.replace("_", " ")) for name in calendars]
    if item.repeats:
        found["repeats"] = True
    if item.target is not None and not item.target.not_done:
        entry = item.target.entry
        found["extension"] = _bounds(entry, item)
        if entry.kind == "choice":
            system = names.choices(entry.name)
            found["answerOption"] = [_option(system, one.value, one.meaning) for one in entry.choices]
            if entry.may_be_not_done:
                found["answerOption"].append(_option(system, NOT_DONE, "Not done"))
        if entry.help:
            found["item"] = [_help(item, entry.help)]
    if item.items:
        found["item"] = [_item(one, calendars, names) for one in item.items]
    return {name: value for name, value in found.items() if value != []}


def _option(system: str, code: str, display: str) -> Json:
    return {"valueCoding": {"system": system, "code": code, "display": display}}


def _help(item: Item, text: str) -> Json:
    control = {"coding": [{"system": _ITEM_CONTROL, "code": "help"}]}
    return {
        "extension": [
            {"url": f"{EXTENSIONS}/questionnaire-itemControl", "valueCodeableConcept": control},
        ],
        "linkId": f"{item.link_id}.help",
        "text": text,
        "type": "display",
    }


def _enable_when(test: EnableWhen, names: Identifiers) -> Json:
    found: Json = {"question": test.item.link_id, "operator": test.operator}
    target = test.item.target
    if isinstance(test.answer, bool):
        found["answerBoolean"] = test.answer
    elif isinstance(test.answer, Fraction):
        found["answerInteger" if test.item.type == "integer" else "answerDecimal"] = number(test.answer)
    elif target is not None:
        found["answerCoding"] = {"system": names.choices(target.entry.name), "code": test.answer}
    return found


def _bounds(entry: Input, item: Item) -> list[Json]:
    """Unit, range and decimals. What lies outside the range is refused."""
    if item.type not in ("integer", "decimal"):
        return []
    found: list[Json] = []
    kind = "valueInteger" if item.type == "integer" else "valueDecimal"
    for name, edge in (("minValue", entry.range.at_least), ("maxValue", entry.range.at_most)):
        if edge is not None:
            found.append({"url": f"{EXTENSIONS}/{name}", kind: number(edge)})
    if item.type == "decimal":
        found.append({"url": f"{EXTENSIONS}/maxDecimalPlaces", "valueInteger": entry.places})
    if entry.unit in UNITS:
        unit = {"system": UCUM, "code": UNITS[entry.unit], "display": entry.unit}
        found.append({"url": f"{EXTENSIONS}/questionnaire-unit", "valueCoding": unit})
    if item.repeats:
        found.append({"url": f"{EXTENSIONS}/questionnaire-minOccurs", "valueInteger": 2})
        found.append({"url": f"{EXTENSIONS}/questionnaire-maxOccurs", "valueInteger": MOST_GIRTHS})
    return found


def number(edge: Fraction) -> int | float:
    """An edge as JSON. Edges have few decimals, so that the text of the number is the one written."""
    return edge.numerator if edge.denominator == 1 else float(edge)
