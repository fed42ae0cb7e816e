"""Evaluates an answered FHIR questionnaire: mapped to an assessment, decided as every other, mapped back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import orjson

from limbtier.domain.caller import Caller
from limbtier.domain.code_map import CodeMap
from limbtier.domain.edition import Edition
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import InvalidAssessment
from limbtier.interop.fhir.envelope import resource_type
from limbtier.interop.fhir.form import Form, form_of
from limbtier.interop.fhir.guidance import Asked, guidance_bundle
from limbtier.interop.fhir.identifiers import Identifiers, resource_id
from limbtier.interop.fhir.questionnaire import questionnaire, superseded_on
from limbtier.interop.fhir.submission import Mapped, map_submission
from limbtier.rulesets.read_code_map import load_code_map
from limbtier.use_cases.decide import Decider, ReadyRules
from limbtier.use_cases.make_decision import DecisionMaker


@dataclass(frozen=True, slots=True)
class _Forms:
    """What is made once from the rules: the form of each edition, and its questionnaire by resource id."""

    rules: ReadyRules
    editions: Mapping[str, Edition]
    forms: Mapping[str, Form]
    questionnaires: Mapping[str, dict[str, Any]]


class QuestionnaireEvaluator:
    """Answers FHIR requests by the decisions of the maker, with the rules of the decider. The code map of the
    rules folder is read once; constructing raises InvalidRuleFiles when it cannot be used."""

    def __init__(self, decider: Decider, maker: DecisionMaker, rules_folder: Path) -> None:
        self._decider = decider
        self._maker = maker
        vocabularies = [one.edition.vocabulary for one in decider.rules.editions.values()]
        self.code_map: CodeMap = load_code_map(rules_folder, vocabularies)
        self.names = Identifiers(self.code_map.base)
        self._made: _Forms | None = None

    def questionnaires(self) -> Mapping[str, dict[str, Any]]:
        """The questionnaire of every edition, by its resource id."""
        return self._forms().questionnaires

    async def preview(self, body: Any, caller: Caller) -> dict[str, Any]:
        """The Bundle that answers a request, nothing stored. Raises as `decide`."""
        forms = self._forms()
        mapped = self._mapped(body, forms, kept=False)
        try:
            record = await self._maker.preview(mapped.assessment, caller)
        except InvalidAssessment as error:
            raise _placed(error, mapped) from None
        return self._answer(body, forms, mapped, record)

    async def decide(self, body: Any, caller: Caller, key: str | None) -> tuple[str, dict[str, Any]]:
        """The id of the decision, which is in the log, and the Bundle that answers the request.

        Raises InvalidAssessment with JSON pointers into the request, and what `DecisionMaker.make` raises.
        """
        forms = self._forms()
        mapped = self._mapped(body, forms, kept=True)
        try:
            decision_id, record = await self._maker.make(mapped.assessment, caller, key)
        except InvalidAssessment as error:
            raise _placed(error, mapped) from None
        return decision_id, self._answer(body, forms, mapped, record)

    def _mapped(self, body: Any, forms: _Forms, *, kept: bool) -> Mapped:
        return map_submission(body, forms.editions, forms.forms, self.code_map, kept=kept)

    def _answer(self, body: Any, forms: _Forms, mapped: Mapped, data: bytes) -> dict[str, Any]:
        record = orjson.loads(data)
        warnings = [
            mapped.found_at(Diagnostic(one["code"], one["message"], one["help"], one["pointer"]))
            for one in record["warnings"]
        ]
        asked = Asked(resource_type(body), mapped.questionnaire, mapped.episode, mapped.notes, warnings)
        return guidance_bundle(record, forms.editions[record["edition"]["id"]], asked, self.names)

    def _forms(self) -> _Forms:
        """Made anew when the rules were swapped."""
        rules = self._decider.rules
        made = self._made
        if made is None or made.rules is not rules:
            editions = {name: one.edition for name, one in rules.editions.items()}
            forms = {name: form_of(edition.vocabulary) for name, edition in editions.items()}
            made = self._made = _Forms(
                rules,
                editions,
                forms,
                {
                    resource_id(name): questionnaire(
                        edition,
                        forms[name],
                        tuple(rules.calendars),
                        self.names,
                        superseded_on(edition, editions.values()),
                    )
                    for name, edition in editions.items()
                },
            )
        return made


def _placed(error: InvalidAssessment, mapped: Mapped) -> InvalidAssessment:
    return InvalidAssessment([mapped.found_at(item) for item in error.diagnostics])
