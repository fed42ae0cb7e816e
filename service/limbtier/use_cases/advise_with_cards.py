"""Answers a call of a CDS Hooks service: the assessment sent along, decided, logged, then shown on cards.

What the log keeps is the assessment in this service's own form. The call itself is kept nowhere: it may hold
the patient's and the clinician's names and an access token.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import orjson

from limbtier.domain.assessment import day_of
from limbtier.domain.caller import Caller
from limbtier.domain.code_map import CodeMap
from limbtier.domain.entry import Retry
from limbtier.foundation.clock import Clock, now
from limbtier.foundation.errors import InvalidAssessment
from limbtier.foundation.strict_json import read_json
from limbtier.interop.cds_hooks.cards import CardSite, Shown, absence_card, cards_of
from limbtier.interop.cds_hooks.hook_request import HookRequest, read_hook_request
from limbtier.interop.cds_hooks.prefetch import Found, assessed_on, find_assessment
from limbtier.interop.cds_hooks.prefetched_observations import find_observations
from limbtier.interop.cds_hooks.services import CdsService
from limbtier.interop.cds_hooks.submission import placed, submission_of
from limbtier.interop.fhir.form import Form, form_of
from limbtier.interop.fhir.submission import map_submission
from limbtier.use_cases.decide import Decider, ReadyRules
from limbtier.use_cases.make_decision import DecisionMaker

DEEPEST_RESOURCE: Final = 32
"""How deep a call may be nested. FHIR nests deeper than an assessment, and a call nests its resources."""

_USED_ONCE: Final = " once "
"""Begins whom a token id counts for, as an `Idempotency-Key` counts for an organisation and a caller. No
organisation begins with a space."""


def token_use(caller: Caller, token_id: str) -> Retry:
    """The use of a token, kept with the decision that was made with it: the log takes each use once, so a
    token that comes twice makes one decision, whichever workers it comes to."""
    return Retry(_USED_ONCE + caller.id, token_id, bytes(32))


class CardAdviser:
    """Answers calls with cards. One for an application."""

    def __init__(
        self,
        decider: Decider,
        maker: DecisionMaker,
        site: CardSite,
        code_map: CodeMap,
        clock: Clock = now,
    ) -> None:
        self._decider = decider
        self._maker = maker
        self._code_map = code_map
        self._forms: tuple[ReadyRules, Mapping[str, Form]] | None = None
        self._site = site
        self._clock = clock

    async def advise(
        self, body: bytes, service: CdsService, caller: Caller, token_id: str | None = None
    ) -> bytes:
        """The answer: cards, none where there is nothing to say. `token_id` is good for one decision.

        Raises NotJson, InvalidHookRequest, PrefetchMissing, InvalidAssessment,
        EnginesDisagree, GuardRailBroken, StoreUnavailable, or RetryKeyTaken for a token that was used before.
        """
        request = read_hook_request(read_json(body, DEEPEST_RESOURCE), service)
        found = find_assessment(request.prefetch, request.patient)
        if found is None:
            return self._absent(service)
        cards = await self._decided(request, found, caller, token_id)
        return orjson.dumps({"cards": cards})

    def _absent(self, service: CdsService) -> bytes:
        """No assessment was found: silence while a chart is read, a warning before compression is ordered."""
        active = self._decider.rules.edition(None, self._clock())
        edition = None if active is None else active.edition
        cards = [absence_card(self._site, edition)] if service.tells_absence else []
        return orjson.dumps({"cards": cards})

    async def _decided(
        self, request: HookRequest, found: Found, caller: Caller, token_id: str | None
    ) -> list[dict[str, Any]]:
        today = day_of(self._clock())
        day = assessed_on(found, today)
        observations = find_observations(request.prefetch, request.patient, day, self._code_map)
        rules = self._decider.rules
        try:
            mapped = map_submission(
                submission_of(found, observations),
                {name: one.edition for name, one in rules.editions.items()},
                self._forms_of(rules),
                self._code_map,
                kept=True,
            )
        except InvalidAssessment as error:
            raise InvalidAssessment([placed(one, found, observations) for one in error.diagnostics]) from None
        use = None if token_id is None else token_use(caller, token_id)
        try:
            entry = await self._maker.make_once(mapped.assessment, caller, use)
        except InvalidAssessment as error:
            moved = [placed(mapped.found_at(one), found, observations) for one in error.diagnostics]
            raise InvalidAssessment(moved) from None
        record = orjson.loads(entry.data)
        return cards_of(
            Shown(
                record,
                self._decider.rules.editions[record["edition"]["id"]].edition,
                self._site,
                day,
                today,
                request.patient,
                tuple(note for note, _ in mapped.notes),
            )
        )

    def _forms_of(self, rules: ReadyRules) -> Mapping[str, Form]:
        """The form of each edition, made once for rules that stay."""
        if self._forms is None or self._forms[0] is not rules:
            forms = {name: form_of(one.edition.vocabulary) for name, one in rules.editions.items()}
            self._forms = (rules, forms)
        return self._forms[1]
