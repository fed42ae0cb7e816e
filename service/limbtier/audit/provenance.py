"""A decision record as W3C PROV-JSON: who decided what, by which plan, from which assessment.

PROV-JSON is a W3C Member Submission of 24 April 2013; terms are those of PROV-DM (W3C Recommendation of
30 April 2013).
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any, Final

NAMESPACE: Final = "https://limbtier.invalid/provenance#"
_PLAN: Final = {"$": "prov:Plan", "type": "prov:QUALIFIED_NAME"}


def provenance(record: Mapping[str, Any]) -> dict[str, Any]:
    """The provenance of a decision record, as JSON-able mappings. The assessment is named by the SHA-256 of
    its text and not repeated."""
    decision = f"limbtier:decision-{record['id']}"
    deciding = f"limbtier:deciding-{record['id']}"
    received = hashlib.sha256(record["received"].encode()).hexdigest()
    assessment = f"limbtier:assessment-{received}"
    edition = f"limbtier:edition-{record['edition']['id']}"
    guard_rails = f"limbtier:guard-rails-{record['edition']['guard_rails']}"
    service = f"limbtier:service-{record['engine']['service']}"
    organisation = f"limbtier:organisation-{_local(record['caller']['organisation'])}"
    caller = f"limbtier:caller-{_local(record['caller']['id'])}"
    sources = {
        f"limbtier:source-{source['id']}": {"prov:label": source["title"], "limbtier:basis": source["basis"]}
        for limb in record["limbs"].values()
        for source in limb["sources"]
    }
    return {
        "prefix": {"limbtier": NAMESPACE},
        "entity": {
            decision: _decision(record),
            assessment: {"prov:label": "The assessment as it was received", "limbtier:sha256": received},
            edition: {
                "prov:type": _PLAN,
                "prov:label": record["edition"]["title"],
                "limbtier:digest": record["edition"]["digest"],
            },
            guard_rails: {"prov:type": _PLAN, "prov:label": "Guard rails"},
            **sources,
        },
        "activity": {
            deciding: {
                "prov:startTime": record["decided_at"],
                "prov:endTime": record["decided_at"],
                "prov:label": "Deciding",
            }
        },
        "agent": {
            service: {"prov:type": {"$": "prov:SoftwareAgent", "type": "prov:QUALIFIED_NAME"}},
            organisation: {"prov:type": {"$": "prov:Organization", "type": "prov:QUALIFIED_NAME"}},
            caller: {"prov:label": "The key or client that asked"},
        },
        "wasGeneratedBy": {
            "_:generated": {
                "prov:entity": decision,
                "prov:activity": deciding,
                "prov:time": record["decided_at"],
            }
        },
        "used": {
            "_:assessment": {"prov:activity": deciding, "prov:entity": assessment},
            "_:edition": {"prov:activity": deciding, "prov:entity": edition},
            "_:guard_rails": {"prov:activity": deciding, "prov:entity": guard_rails},
        },
        "wasAssociatedWith": {
            "_:service": {"prov:activity": deciding, "prov:agent": service, "prov:plan": edition},
            "_:caller": {"prov:activity": deciding, "prov:agent": caller},
        },
        "actedOnBehalfOf": {
            "_:service_for": {"prov:delegate": service, "prov:responsible": organisation},
            "_:caller_for": {"prov:delegate": caller, "prov:responsible": organisation},
        },
        "wasDerivedFrom": {
            "_:from_assessment": {
                "prov:generatedEntity": decision,
                "prov:usedEntity": assessment,
                "prov:activity": deciding,
            },
            **{
                f"_:from_source_{number}": {"prov:generatedEntity": edition, "prov:usedEntity": source}
                for number, source in enumerate(sources)
            },
        },
    }


def _decision(record: Mapping[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = {
        "prov:label": record["person"]["text"],
        "limbtier:disposition": record["person"]["disposition"],
        "limbtier:review_due_on": record["person"]["review"]["due_on"],
    }
    for side, limb in record["limbs"].items():
        for name in ("disposition", "tier", "target_tier"):
            found[f"limbtier:{side}_{name}"] = limb[name]
    return found


def _local(text: str) -> str:
    """A text as the local part of a qualified name; anything unusual is written as its code."""
    return "".join(
        letter if letter.isascii() and letter.isalnum() else f"-{ord(letter):x}-" for letter in text
    )
