"""Drafts that a card suggests: FHIR R4 ServiceRequests for the review and for whatever is to be arranged.

They are proposals in words, without codes: no open code system that may be shipped names these things. The
clinician's system files them as drafts; nothing is ordered until somebody signs.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from limbtier.domain.assessment import Side


def draft_orders(record: Mapping[str, Any], side: Side, patient: str) -> list[dict[str, Any]]:
    """The review first, then each arrangement that is due, in the order of the decision's record."""
    limb = record["limbs"][side]
    leg = f"{side} leg"
    wanted = [(f"Review of the {leg}", limb["review"]["due_on"])]
    wanted += [
        (f"{one['title']} ({leg})", one["due_on"]) for one in limb["arrangements"] if one["state"] == "due"
    ]
    note = f"Decision {record['id']} by edition {record['edition']['id']}. {record['caution']}"
    return [
        {
            "resourceType": "ServiceRequest",
            "status": "draft",
            "intent": "proposal",
            "code": {"text": title},
            "subject": {"reference": f"Patient/{patient}"},
            "occurrencePeriod": {"end": due_on},
            "note": [{"text": note}],
        }
        for title, due_on in wanted
    ]
