"""Reads the answers of a questionnaire response by the form that it answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final

from limbtier.foundation.answer_states import NOT_DONE
from limbtier.foundation.diagnostics import did_you_mean
from limbtier.interop.fhir.elements import (
    ELEMENT,
    RESOURCE,
    Faults,
    Json,
    Steps,
    check_elements,
    objects,
    shown,
    text_of,
)
from limbtier.interop.fhir.form import CALENDAR, Form, Item
from limbtier.interop.fhir.identifiers import Identifiers

VALUES: Final[Mapping[str, str]] = {
    "boolean": "valueBoolean",
    "choice": "valueCoding",
    "integer": "valueInteger",
    "decimal": "valueDecimal",
    "date": "valueDate",
}
READ: Final = frozenset(
    {"resourceType", "questionnaire", "status", "subject", "authored", "item", "contained"}
)
IGNORED: Final = RESOURCE | {"identifier", "basedOn", "partOf", "encounter", "author", "source"}
_FINISHED: Final = ("completed", "amended")
_CODING_IGNORED: Final = ELEMENT | {"version", "userSelected"}


@dataclass(slots=True)
class Given:
    """Answers by where they belong in an assessment, and where in the request each stands."""

    answers: dict[Steps, Any] = field(default_factory=dict)
    places: dict[Steps, Steps] = field(default_factory=dict)

    def put(self, target: Steps, answer: Any, place: Steps) -> None:
        """Keep an answer."""
        self.answers[target] = answer
        self.places[target] = place


def check_status(response: Json, steps: Steps, *, kept: bool, faults: Faults) -> None:
    """An unfinished response may be previewed; a decision that is kept needs a finished one."""
    status = text_of(response, "status", steps, faults)
    if status in _FINISHED or (status == "in-progress" and not kept):
        return
    message = "The response has no status." if status is None else f"The status is `{shown(status)}`."
    advice = "Send a response that is `completed` or `amended`; one `in-progress` can be previewed."
    faults.add("status-not-taken", message, advice, (*steps, "status"))


def read_answers(response: Json, steps: Steps, form: Form, names: Identifiers, faults: Faults) -> Given:
    """Every answer of the response; everything that is wrong with them is named."""
    given = Given()
    _Reader(form, names, faults, given).items(response, form.groups, steps)
    return given


class _Reader:
    def __init__(self, form: Form, names: Identifiers, faults: Faults, given: Given) -> None:
        self._form = form
        self._names = names
        self._faults = faults
        self._given = given

    def items(self, parent: Json, expected: tuple[Item, ...], steps: Steps) -> None:
        """The items below one that the form has `expected` below it."""
        known = {item.link_id: item for item in expected}
        seen: set[str] = set()
        for entry, where in objects(parent, "item", steps, self._faults):
            check_elements(
                entry, {"linkId", "answer", "item"}, ELEMENT | {"definition", "text"}, where, self._faults
            )
            link_id = entry.get("linkId")
            item = known.get(link_id) if isinstance(link_id, str) else None
            if item is None:
                self._unknown(link_id, known, where)
            elif item.link_id in seen:
                message = f"The item `{item.link_id}` stands twice."
                self._faults.add("repeated-entry", message, "Send each item once.", (*where, "linkId"))
            elif item.type == "group":
                if "answer" in entry:
                    message = f"`{item.link_id}` is a group and has no answer."
                    self._faults.add("unexpected-answer", message, "Answer its items.", (*where, "answer"))
                self.items(entry, item.items, where)
            else:
                self._question(entry, item, where)
            if item is not None:
                seen.add(item.link_id)

    def _unknown(self, link_id: object, known: Mapping[str, Item], where: Steps) -> None:
        if not isinstance(link_id, str):
            self._faults.add("missing-element", "An item has no link id.", "Give `linkId`.", where)
        elif link_id in self._form.by_link_id:
            message = f"The item `{link_id}` does not stand where the questionnaire has it."
            self._faults.add(
                "misplaced-item", message, "Nest the items as the questionnaire does.", (*where, "linkId")
            )
        else:
            advice = did_you_mean(link_id[:60], known, "Compare with the questionnaire.")
            message = f"The questionnaire has no item `{shown(link_id)}` here."
            self._faults.add("unknown-item", message, advice, (*where, "linkId"))

    def _question(self, entry: Json, item: Item, where: Steps) -> None:
        if "item" in entry:
            self.items(entry, (), where)  # names what is nested where nothing can be
        answers = objects(entry, "answer", where, self._faults)
        if len(answers) > 1 and not item.repeats:
            message = f"`{item.link_id}` has {len(answers)} answers and takes one."
            self._faults.add("several-answers", message, "Send one answer.", (*where, "answer"))
            return
        values = []
        for answer, place in answers:
            if "item" in answer:
                self.items(answer, (), place)
            values.append(self._value(answer, item, place))
        if values and all(value is not None for value in values):
            self._keep(item, values if item.repeats else values[0], (*where, "answer"), answers[0][1])

    def _keep(self, item: Item, value: Any, place: Steps, first: Steps) -> None:
        where = place if item.repeats else (*first, VALUES[item.type])
        if item.link_id == CALENDAR:
            self._given.put(("calendar",), value, where)
        target = item.target
        if target is None or (target.not_done and value is False):
            return
        if target.steps in self._given.answers:
            message = f"`{item.link_id}`: the question is answered, and also said not to be done."
            self._faults.add("conflicting-answers", message, "Keep one of the two.", where)
            return
        self._given.put(target.steps, NOT_DONE if target.not_done else value, where)

    def _value(self, answer: Json, item: Item, place: Steps) -> Any:
        """The value as an assessment has it, or None when it was refused."""
        wanted = VALUES[item.type]
        check_elements(
            {name: value for name, value in answer.items() if not name.startswith("value")},
            {"item", *VALUES.values()},
            ELEMENT,
            place,
            self._faults,
        )
        names = [name for name in answer if name.startswith("value")]
        if len(names) != 1:
            message = f"An answer to `{item.link_id}` has {len(names) or 'no'} values."
            advice = f"Send `{wanted}`, or leave the answer out."
            self._faults.add("wrong-value-type", message, advice, place)
            return None
        if names[0] != wanted:
            message = f"`{item.link_id}` is answered with `{shown(names[0])}`."
            self._faults.add("wrong-value-type", message, f"Send `{wanted}`.", (*place, names[0]))
            return None
        value = answer[wanted]
        if item.type == "choice":
            return self._coding(value, item, (*place, wanted))
        if not _fits(item, value):
            message = f"`{wanted}` of `{item.link_id}` is {shown(value)!r} and no JSON value of that type."
            self._faults.add("wrong-type", message, _WRITTEN[item.type], (*place, wanted))
            return None
        return value

    def _coding(self, coding: Any, item: Item, place: Steps) -> str | None:
        target = item.target
        system = self._names.codes("calendar") if target is None else self._names.choices(target.entry.name)
        if not isinstance(coding, dict):
            advice = "Send a Coding with `system` and `code`."
            self._faults.add("wrong-type", "The answer is no Coding.", advice, place)
            return None
        before = len(self._faults)
        check_elements(coding, {"system", "code", "display"}, _CODING_IGNORED, place, self._faults)
        code = coding.get("code")
        if coding.get("system") != system:
            message = f"The answer to `{item.link_id}` is of another code system, or of none."
            self._faults.add("wrong-code-system", message, f"Send `system` {system}.", (*place, "system"))
        elif not isinstance(code, str):
            self._faults.add("wrong-type", "The coding has no code.", "Send `code`.", (*place, "code"))
        elif target is not None:
            meanings = {choice.value: choice.meaning for choice in target.entry.choices}
            display = coding.get("display")
            if display is not None and code in meanings and display != meanings[code]:
                message = f"The display is not that of the code `{code}` of `{item.link_id}`."
                advice = f"Send the code that is meant; `{code}` is: {meanings[code]}."
                self._faults.add("display-differs", message, advice, (*place, "display"))
        return code if isinstance(code, str) and len(self._faults) == before else None


_WRITTEN: Final = {
    "boolean": "Send true or false.",
    "integer": "Send a whole JSON number, without quotation marks and decimals.",
    "decimal": "Send a JSON number, without quotation marks.",
    "date": "Send a text such as 2026-01-31.",
}


def _fits(item: Item, value: Any) -> bool:
    kind = type(value)
    return {
        "boolean": kind is bool,
        "integer": kind is int,
        "decimal": kind is int or kind is Decimal,
        "date": kind is str,
    }[item.type]
