"""The services that discovery lists, and what each asks the client to send along."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from limbtier.domain.code_map import CodeMap

ASSESSMENT: Final = "assessment"
OBSERVATIONS: Final = "observations"


@dataclass(frozen=True, slots=True)
class CdsService:
    """One service. `context` names the members of the hook's context that must be there; `tells_absence`:
    whether it says so on a card when there is no assessment."""

    id: str
    hook: str
    title: str
    description: str
    usage: str
    context: tuple[str, ...]
    tells_absence: bool


_NEWEST_ASSESSMENT: Final = (
    "QuestionnaireResponse?patient={{context.patientId}}&questionnaire={questionnaire}"
    "&status=completed,amended&_sort=-authored&_count=1"
)
_OBSERVATIONS: Final = (
    "Observation?patient={{context.patientId}}&code={codes}&status=final,amended,corrected"
    "&_sort=-date&_count=100"
)
_NEVER_FETCHES: Final = (
    "It works from what is sent along and never asks the client's FHIR server for anything; tokens for it "
    "are neither needed nor read. Without the prefetched assessment it answers 412."
)
_DECIDES: Final = (
    "It gives one card a leg: the starting tier of compression, the day of the review and the reasons. A "
    "danger sign comes first. It supports a decision; local policy and a licensed clinician decide. Each "
    "decision behind a card is logged."
)

SERVICES: Final[Mapping[str, CdsService]] = {
    service.id: service
    for service in (
        CdsService(
            "limbtier-patient-view",
            "patient-view",
            "Compression of the lower leg: where it stands",
            f"From the newest assessment of the lower legs. {_DECIDES} {_NEVER_FETCHES}",
            "Without an assessment of this person it answers with no card.",
            ("userId", "patientId"),
            tells_absence=False,
        ),
        CdsService(
            "limbtier-order-select",
            "order-select",
            "Compression of the lower leg: before it is ordered",
            f"When compression is being ordered, from the newest assessment of the lower legs. {_DECIDES} "
            f"{_NEVER_FETCHES}",
            "Call it only when an order for a compression bandage, wrap or garment is selected: what is "
            "being ordered is not read. Without an assessment of this person it says so on a card.",
            ("userId", "patientId", "selections", "draftOrders"),
            tells_absence=True,
        ),
    )
}


def discovery(questionnaire: str, code_map: CodeMap) -> dict[str, Any]:
    """The answer to discovery. `questionnaire` is the canonical address of the assessment's Questionnaire,
    without a version; observations are asked for by the codes of `code_map`, where it has any."""
    prefetch = {ASSESSMENT: _NEWEST_ASSESSMENT.replace("{questionnaire}", questionnaire)}
    codes = dict.fromkeys(f"{one.code.system}|{one.code.code}" for one in code_map.observations)
    if codes:
        prefetch[OBSERVATIONS] = _OBSERVATIONS.replace("{codes}", ",".join(codes))
    return {
        "services": [
            {
                "hook": one.hook,
                "title": one.title,
                "description": one.description,
                "id": one.id,
                "prefetch": prefetch,
                "usageRequirements": one.usage,
            }
            for one in SERVICES.values()
        ]
    }
