"""The decision as one JSON record: the same shape for the API, the store, the command line and pages.

What depends only on the edition is written once, when the edition is prepared; a decision then fills
it in. Numbers that were measured or computed are texts, so that their digits survive every reader.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import orjson

from limbtier import __version__
from limbtier.domain.assessment import SIDES
from limbtier.domain.decision import TRACE_FORMAT, Decision, LimbDecision, Review
from limbtier.engine.interpreter import APPLIES
from limbtier.engine.prepared import PreparedEdition
from limbtier.measures.rounding import show
from limbtier.use_cases.answer_text import exact_text
from limbtier.use_cases.rule_record import conclusions, edition_summary
from limbtier.use_cases.trace_record import STATES, TraceWriter, trace_writer


@dataclass(frozen=True, slots=True)
class RecordWriter:
    """Writes decisions of one prepared edition. Built once by `record_writer`, shared by all threads."""

    prepared: PreparedEdition
    edition: orjson.Fragment
    reasons: tuple[tuple[Any, ...], ...]
    cautions: tuple[tuple[Any, ...], ...]
    instructions: tuple[tuple[orjson.Fragment, ...], ...]
    sources: Mapping[str, orjson.Fragment]
    trace: TraceWriter
    questions: Mapping[str, tuple[str, str]]

    def write(self, decision: Decision, decision_id: str | None, received: bytes) -> bytes:
        """The record. `received` is the request's JSON text, as it came; the id is null for a preview."""
        wording = self.prepared.edition.wording
        record = {
            "id": decision_id,
            "decided_at": decision.decided_at.isoformat(),
            "edition": self.edition,
            "person": {
                "disposition": decision.person.disposition,
                "review": _review(decision.person.review, decision.assessment.calendar),
                "text": self.person_text(decision),
            },
            "limbs": {
                side: self._limb(decision, decision.limbs[side]) for side in SIDES if side in decision.limbs
            },
            "warnings": [
                {"code": w.code, "pointer": w.pointer, "message": w.message, "help": w.help}
                for w in decision.assessment.warnings
            ],
            "caution": wording.caution,
            "engine": {"service": __version__, "trace_format": TRACE_FORMAT},
            "assessment": orjson.Fragment(received),
        }
        return orjson.dumps(record)

    def person_text(self, decision: Decision) -> str:
        """One paragraph for the person: each leg's outcome, and what takes precedence."""
        edition = self.prepared.edition
        sentences = []
        for side in SIDES:
            if side in decision.limbs:
                limb = decision.limbs[side]
                tier = edition.tiers[edition.rank(limb.tier)].title
                outcome = edition.wording.dispositions[limb.disposition]
                sentences.append(
                    f"{side.capitalize()} leg: {outcome} ({tier}; review by {limb.review.due_on})."
                )
        if decision.person.other_leg_waits:
            sentences.append(edition.wording.other_leg_waits)
        return " ".join(sentences)

    def _fits(self, place: int, limb: LimbDecision) -> bool:
        """Whether the instructions of a rule belong to the tier given and to what was chosen."""
        then = self.prepared.edition.rules[place].then
        if then.instruct_at and limb.tier not in then.instruct_at:
            return False
        return not then.instruct_with or any(one.name in then.instruct_with for one in limb.chosen)

    def _limb(self, decision: Decision, limb: LimbDecision) -> dict[str, Any]:
        edition = self.prepared.edition
        states = limb.trace.rules
        counting = [place for place, state in enumerate(states) if state]
        above_withhold = limb.tier != self.prepared.tier_names[0]
        rules = edition.rules
        cited = dict.fromkeys(source for place in counting for source in rules[place].sources)
        return {
            "disposition": limb.disposition,
            "tier": limb.tier,
            "target_tier": limb.target_tier,
            "range": {"lowest": limb.tier, "highest": limb.highest_possible_tier},
            "determined": limb.determined,
            "provisional": None if limb.determined else edition.wording.provisional,
            "review": {
                **_review(limb.review, decision.assessment.calendar),
                "note": edition.wording.no_working_day if limb.review.no_working_day else None,
            },
            "measures": self._measures(limb),
            "limits": [
                {
                    "rule": held.rule,
                    "tier": held.tier,
                    "state": STATES[1] if held.undetermined else STATES[2],
                    "until": held.until,
                    "at_tier_given": held.at_tier_given,
                }
                for held in limb.limits
            ],
            "step_up_plan": [
                {
                    "from": step.from_tier,
                    "to": step.to_tier,
                    "lifts": [
                        {
                            "rule": lifting.rule,
                            "tier": lifting.tier,
                            "lift": lifting.lift,
                            "what": self._lift_words(lifting.lift),
                            "by": lifting.by.isoformat(),
                        }
                        for lifting in step.liftings
                    ],
                }
                for step in limb.plan
            ],
            "questions": [
                {
                    "input": question.input,
                    "scope": self.questions[question.input][0],
                    "question": self.questions[question.input][1],
                    "rules": question.rules,
                }
                for question in limb.questions
            ],
            "arrangements": [
                {
                    "what": entry.what,
                    "title": edition.arrangements[entry.what].title,
                    "state": "pending" if entry.pending else "due",
                    "due_on": entry.due_on.isoformat() if entry.due_on else None,
                    "within": entry.within or None,
                    "after": entry.after,
                    "rules": entry.rules,
                    "questions": entry.questions,
                }
                for entry in limb.arrangements
            ],
            "materials": self._materials(limb, counting if above_withhold else []),
            "cautions": [entry for place in counting for entry in self.cautions[place][states[place]]],
            "safety_net": edition.wording.safety_net if above_withhold else [],
            "reasons": [self.reasons[place][states[place]] for place in counting],
            "sources": [self.sources[name] for name in cited],
            "trace": orjson.Fragment(self.trace.write(limb.trace)),
        }

    def _lift_words(self, lift: str) -> str:
        known = self.prepared.edition.vocabulary.lifts
        return known[lift].title if lift in known else "an answer to its questions"

    def _measures(self, limb: LimbDecision) -> dict[str, Any]:
        facts = limb.trace.facts
        found: dict[str, Any] = {}
        for name, words in self.prepared.edition.vocabulary.measures.items():
            value = facts.get(name)
            if isinstance(value, Fraction):
                found[name] = {"shown": show(value, words.places), "exact": str(value), "unit": words.unit}
            else:
                found[name] = {"shown": exact_text(value), "exact": None, "unit": None}
        return found

    def _materials(self, limb: LimbDecision, counting: list[int]) -> dict[str, Any]:
        edition = self.prepared.edition
        return {
            "chosen": [
                {
                    "material": chosen.name,
                    "title": edition.materials[chosen.name].title,
                    "rules": chosen.rules,
                    "estimated_pressure": None
                    if chosen.estimate is None
                    else {
                        "ankle_mmhg": chosen.estimate.ankle_mmhg,
                        "calf_mmhg": chosen.estimate.calf_mmhg,
                        "caveat": edition.wording.pressure_estimate,
                    },
                    "length_cm": chosen.length_cm,
                    "rolls": chosen.rolls,
                }
                for chosen in limb.chosen
            ],
            "avoided": [
                {
                    "material": avoided.name,
                    "title": edition.materials[avoided.name].title,
                    "rules": avoided.rules,
                }
                for avoided in limb.avoided
            ],
            "technique": [
                entry
                for place in counting
                if limb.trace.rules[place] == APPLIES and self._fits(place, limb)
                for entry in self.instructions[place]
            ],
        }


def record_writer(prepared: PreparedEdition) -> RecordWriter:
    """Write down once whatever does not depend on a decision."""
    edition = prepared.edition
    return RecordWriter(
        prepared=prepared,
        edition=orjson.Fragment(orjson.dumps(edition_summary(edition, prepared.guard_rails.version))),
        reasons=tuple(
            (
                None,
                *(
                    orjson.Fragment(
                        orjson.dumps(
                            {
                                "rule": rule.id,
                                "title": rule.title,
                                "state": state,
                                "because": rule.because,
                                "concludes": conclusions(rule.then),
                                "sources": rule.sources,
                            }
                        )
                    )
                    for state in STATES[1:]
                ),
            )
            for rule in edition.rules
        ),
        cautions=tuple(
            (
                (),
                *(
                    tuple(
                        orjson.Fragment(orjson.dumps({"text": text, "rule": rule.id, "state": state}))
                        for text in rule.then.caution
                    )
                    for state in STATES[1:]
                ),
            )
            for rule in edition.rules
        ),
        instructions=tuple(
            tuple(
                orjson.Fragment(orjson.dumps({"text": text, "rule": rule.id})) for text in rule.then.instruct
            )
            for rule in edition.rules
        ),
        sources={
            name: orjson.Fragment(
                orjson.dumps(
                    {"id": name, "title": source.title, "basis": source.basis, "point": source.point},
                )
            )
            for name, source in edition.sources.items()
        },
        trace=trace_writer(prepared),
        questions={name: (entry.scope, entry.question) for name, entry in edition.vocabulary.inputs.items()},
    )


def _review(review: Review, calendar: str) -> dict[str, Any]:
    return {
        "due_on": review.due_on.isoformat(),
        "within_hours": review.within_hours,
        "set_by": review.set_by,
        "calendar": calendar,
    }
