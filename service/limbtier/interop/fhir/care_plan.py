"""The care plan that a decision proposes. Everything in it is a proposal: it orders nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from limbtier.domain.edition import Edition
from limbtier.interop.fhir.identifiers import Identifiers
from limbtier.interop.fhir.narrative import narrative

Json = dict[str, Any]
_APPLIED: Final = ("start", "continue", "step_up", "step_down")
_NEW: Final = ("start", "step_up")
_URGENT: Final = ("stop_and_escalate", "cannot_decide_yet")
# A request without a priority has the normal one, which would be wrong for these.
PRIORITY: Final = {"immediately": "stat", "same day": "urgent"}


class CarePlanWriter:
    """Writes the requests, the review and the plan of one decision."""

    def __init__(
        self,
        record: Mapping[str, Any],
        edition: Edition,
        names: Identifiers,
        subject: Json,
        addresses: Callable[[str], str],
    ) -> None:
        self._record = record
        self._edition = edition
        self._names = names
        self._subject = subject
        self._addresses = addresses
        self._limbs: Mapping[str, Any] = record["limbs"]

    def requests(self) -> list[Json]:
        """For each leg the compression that is proposed, or that none is to be put on, and each arrangement
        that is due."""
        found: list[Json] = []
        for side, limb in self._limbs.items():
            compression = self._compression(side, limb)
            if compression is not None:
                found.append(compression)
            found += [self._arrangement(side, one) for one in limb["arrangements"] if one["state"] == "due"]
        return found

    def review(self) -> Json:
        """The review of the person, by its day."""
        review = self._record["person"]["review"]
        within = f", within {review['within_hours']} hours" if review["within_hours"] else ""
        words = [f"Review by {review['due_on']}{within}."]
        words += [f"{_leg(side)}: by {limb['review']['due_on']}." for side, limb in self._limbs.items()]
        notes = [self._record["caution"]]
        notes += [limb["review"]["note"] for limb in self._limbs.values() if limb["review"]["note"]]
        task: Json = {
            "resourceType": "Task",
            "id": self._addresses("Task"),
            "status": "draft",
            "intent": "proposal",
            "code": {"text": "Review"},
            "description": " ".join(words),
            "focus": {"reference": f"urn:uuid:{self._addresses('CarePlan')}"},
            "for": self._subject,
            "authoredOn": self._record["decided_at"],
            "note": [{"text": one} for one in dict.fromkeys(notes)],
            "restriction": {"period": {"end": review["due_on"]}},
        }
        if self._record["person"]["disposition"] in _URGENT:
            task["priority"] = "urgent"
        return task

    def watched(self) -> list[Json]:
        """A task for each thing about the episode that must be seen to."""
        episode = self._record.get("episode") or {}
        return [
            {
                "resourceType": "Task",
                "id": self._addresses(f"Task/{flag['rule']}-{flag['limb']}"),
                "status": "draft",
                "intent": "proposal",
                "code": {"text": f"{_leg(flag['limb'])}: {flag['title']}"},
                "description": flag["action"],
                "focus": {"reference": f"urn:uuid:{self._addresses('CarePlan')}"},
                "for": self._subject,
                "authoredOn": self._record["decided_at"],
                "reasonCode": {"text": flag["because"]},
                "note": [{"text": self._record["caution"]}],
                "restriction": {"period": {"end": flag["due_on"]}},
            }
            for flag in episode.get("watch", [])
        ]

    def care_plan(self, requests: Sequence[Json]) -> Json:
        """The plan that names the requests and the tasks, and lists what may yet become due."""
        record = self._record
        outcome = record["person"]["text"]
        references = [one["id"] for one in requests]
        return {
            "resourceType": "CarePlan",
            "id": self._addresses("CarePlan"),
            "text": narrative(outcome, *self._provisional(), record["caution"]),
            "status": "draft",
            "intent": "proposal",
            "title": "Compression of the lower leg",
            "description": outcome,
            "subject": self._subject,
            "created": record["decided_at"],
            "activity": [
                *({"reference": {"reference": f"urn:uuid:{one}"}} for one in references),
                *self._pending(),
            ],
            "note": [{"text": one} for one in (record["caution"], *self._provisional())],
        }

    def _provisional(self) -> list[str]:
        return list(
            dict.fromkeys(limb["provisional"] for limb in self._limbs.values() if limb["provisional"])
        )

    def _pending(self) -> list[Json]:
        return [
            {
                "detail": {
                    "kind": "ServiceRequest",
                    "code": {"text": f"{_leg(side)}: {one['title']}"},
                    "status": "not-started",
                    "description": "Pending: unanswered questions decide whether this is due, or due sooner.",
                }
            }
            for side, limb in self._limbs.items()
            for one in limb["arrangements"]
            if one["state"] == "pending"
        ]

    def _compression(self, side: str, limb: Mapping[str, Any]) -> Json | None:
        lowest = limb["tier"] == self._edition.tiers[0].name
        tier = self._edition.tiers[self._edition.rank(limb["tier"])]
        leg = _leg(side)
        request = self._request(f"compression-{side}", side)
        if limb["disposition"] == "not_indicated":
            return None
        if limb["disposition"] in _APPLIED and not lowest:
            coding = {"system": self._names.codes("tier"), "code": tier.name, "display": tier.title}
            request["code"] = {"coding": [coding], "text": f"{leg}: compression, {tier.title}"}
            request["patientInstruction"] = " ".join(limb["safety_net"])
            if self._waits(limb):
                request["status"] = "on-hold"
                request["code"]["text"] += ", on hold"
            request["note"] = [{"text": one} for one in self._notes(limb, *self._how(limb))]
        else:
            # The words say what `doNotPerform` says, for a reader that does not show it.
            request["doNotPerform"] = True
            request["note"] = [{"text": one} for one in self._notes(limb)]
            request["code"] = {
                "text": f"{leg}: put on {'no compression' if lowest else f'nothing above {tier.title}'}"
            }
        reasons = {one["rule"]: one["because"] for one in limb["reasons"]}
        held = [reasons[one["rule"]] for one in limb["limits"] if one["at_tier_given"]]
        request["reasonCode"] = [{"text": one} for one in dict.fromkeys(held)]
        return {name: value for name, value in request.items() if value not in ("", [], {})}

    def _waits(self, limb: Mapping[str, Any]) -> bool:
        """Whether nothing new is put on this leg today, because the other one has a danger sign."""
        told = self._edition.wording.other_leg_waits in self._record["person"]["text"]
        return told and limb["disposition"] in _NEW

    def _notes(self, limb: Mapping[str, Any], *more: str) -> list[str]:
        """What a reader of the request must see: the caution first."""
        wording = self._edition.wording
        notes = [self._record["caution"], wording.dispositions[limb["disposition"]]]
        notes += [wording.other_leg_waits] if self._waits(limb) else []
        notes += [limb["provisional"]] if limb["provisional"] else []
        notes += [one["text"] for one in limb["cautions"]]
        return list(dict.fromkeys((*notes, *more)))

    def _how(self, limb: Mapping[str, Any]) -> list[str]:
        """With what compression is put on, how, and what a higher tier would need."""
        materials = limb["materials"]
        tier = self._edition.tiers[self._edition.rank(limb["tier"])]
        notes = [f"Intended pressure: {tier.intended_pressure}."]
        notes += [f"May be used: {one['title']}." for one in materials["chosen"]]
        notes += [f"To be avoided: {one['title']}." for one in materials["avoided"]]
        notes += [one["text"] for one in materials["technique"]]
        for step in limb["step_up_plan"]:
            lifts = ", ".join(f"{one['what']} by {one['by']}" for one in step["lifts"])
            notes.append(f"A step from {step['from']} to {step['to']} needs a new decision, after: {lifts}.")
        return notes

    def _arrangement(self, side: str, arrangement: Mapping[str, Any]) -> Json:
        request = self._request(f"{arrangement['what']}-{side}", side)
        coding = {"system": self._names.codes("arrangement"), "code": arrangement["what"]}
        request["code"] = {"coding": [coding], "text": f"{_leg(side)}: {arrangement['title']}"}
        if arrangement["due_on"] is not None:
            request["occurrencePeriod"] = {"end": arrangement["due_on"]}
        if arrangement["within"] in PRIORITY:
            request["priority"] = PRIORITY[arrangement["within"]]
        if arrangement["within"] is not None:
            request["note"] = [{"text": f"Interval: {arrangement['within']}."}]
        return request

    def _request(self, name: str, side: str) -> Json:
        return {
            "resourceType": "ServiceRequest",
            "id": self._addresses(f"ServiceRequest/{name}"),
            "status": "draft",
            "intent": "proposal",
            "subject": self._subject,
            "authoredOn": self._record["decided_at"],
            "bodySite": [{"text": _leg(side)}],
        }


def _leg(side: str) -> str:
    return f"{side.capitalize()} leg"
