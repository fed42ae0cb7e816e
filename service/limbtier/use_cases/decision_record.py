"""The decision as one JSON record: the same shape for the API, the store, the command line and pages.

What depends only on the edition is written once, when the edition is prepared; a decision then fills
it in. Numbers that were measured or computed are texts, so that their digits survive every reader.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain, compress
from typing import Any, Final

import orjson

from limbtier import __version__
from limbtier.domain.assessment import SIDES, Answer
from limbtier.domain.caller import Caller
from limbtier.domain.decision import TRACE_FORMAT, Decision, LimbDecision, Review
from limbtier.domain.rule import Conclusions
from limbtier.domain.vocabulary import MeasureWords
from limbtier.engine.interpreter import APPLIES
from limbtier.engine.prepared import PreparedEdition
from limbtier.measures.rounding import show
from limbtier.use_cases.answer_text import exact_fraction, exact_text
from limbtier.use_cases.rule_record import conclusions, edition_summary
from limbtier.use_cases.trace_record import STATES, TraceWriter, trace_writer


@dataclass(frozen=True, slots=True)
class RecordWriter:
    """Writes decisions of one prepared edition. Built once by `record_writer`, shared by all threads."""

    prepared: PreparedEdition
    rule_ids: tuple[str, ...]
    edition: orjson.Fragment
    measures: tuple[tuple[str, MeasureWords], ...]
    cites: tuple[tuple[str, ...], ...]
    reasons: tuple[tuple[Any, ...], ...]
    cautions: tuple[tuple[Any, ...], ...]
    instructions: tuple[tuple[orjson.Fragment, ...], ...]
    sources: Mapping[str, orjson.Fragment]
    trace: TraceWriter
    questions: Mapping[str, tuple[str, str]]

    def write(
        self,
        decision: Decision,
        decision_id: str | None,
        received: bytes,
        caller: Caller | None = None,
        episode: bytes | None = None,
    ) -> bytes:
        """The record. `received` is the request's JSON text, as it came; the id is null for a preview.
        `episode` is what the record says of its episode, as JSON; null for a decision without one.

        Members stand in the order of their names, so that the bytes are canonical JSON (RFC 8785): what is
        answered is what is stored, hashed and exported.
        """
        record = {
            "caller": None if caller is None else {"id": caller.id, "organisation": caller.organisation},
            "caution": self.prepared.edition.wording.caution,
            "decided_at": decision.decided_at.isoformat(),
            "edition": self.edition,
            "engine": _ENGINE,
            "episode": None if episode is None else orjson.Fragment(episode),
            "id": decision_id,
            "kind": "preview" if decision_id is None else "decision",
            "limbs": {
                side: self._limb(decision, decision.limbs[side]) for side in SIDES if side in decision.limbs
            },
            "person": {
                "disposition": decision.person.disposition,
                "review": _review(decision.person.review, decision.assessment.calendar),
                "text": self.person_text(decision),
            },
            "received": received.decode(),
            "warnings": [
                {"code": w.code, "help": w.help, "message": w.message, "pointer": w.pointer}
                for w in decision.assessment.warnings
            ],
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
        return instructions_fit(self.prepared.edition.rules[place].then, limb)

    def _limb(self, decision: Decision, limb: LimbDecision) -> dict[str, Any]:
        edition = self.prepared.edition
        states = limb.trace.rules
        counting = list(compress(self.prepared.places, states))
        above_withhold = limb.tier != self.prepared.tier_names[0]
        cited = dict.fromkeys(chain.from_iterable([self.cites[place] for place in counting]))
        calendar = decision.assessment.calendar
        note = edition.wording.no_working_day if limb.review.no_working_day else None
        return {
            "arrangements": [
                {
                    "after": entry.after,
                    "due_on": entry.due_on.isoformat() if entry.due_on else None,
                    "questions": entry.questions,
                    "rules": entry.rules,
                    "state": "pending" if entry.pending else "due",
                    "title": edition.arrangements[entry.what].title,
                    "what": entry.what,
                    "within": entry.within or None,
                }
                for entry in limb.arrangements
            ],
            "cautions": [entry for place in counting for entry in self.cautions[place][states[place]]],
            "determined": limb.determined,
            "disposition": limb.disposition,
            "limits": [
                {
                    "at_tier_given": held.at_tier_given,
                    "rule": held.rule,
                    "state": STATES[1] if held.undetermined else STATES[2],
                    "tier": held.tier,
                    "until": held.until,
                }
                for held in limb.limits
            ],
            "materials": self._materials(limb, counting if above_withhold else []),
            "measures": self._measures(limb),
            "provisional": None if limb.determined else edition.wording.provisional,
            "questions": [
                {
                    "input": question.input,
                    "question": self.questions[question.input][1],
                    "rules": question.rules,
                    "scope": self.questions[question.input][0],
                }
                for question in limb.questions
            ],
            "range": {"highest": limb.highest_possible_tier, "lowest": limb.tier},
            "reasons": [self.reasons[place][states[place]] for place in counting],
            "review": {
                "calendar": calendar,
                "due_on": limb.review.due_on.isoformat(),
                "note": note,
                "set_by": limb.review.set_by,
                "within_hours": limb.review.within_hours,
            },
            "safety_net": edition.wording.safety_net if above_withhold else [],
            "sources": [self.sources[name] for name in cited],
            "step_up_plan": [
                {
                    "from": step.from_tier,
                    "lifts": [
                        {
                            "by": lifting.by.isoformat(),
                            "lift": lifting.lift,
                            "rule": lifting.rule,
                            "tier": lifting.tier,
                            "what": self._lift_words(lifting.lift),
                        }
                        for lifting in step.liftings
                    ],
                    "to": step.to_tier,
                }
                for step in limb.plan
            ],
            "target_tier": limb.target_tier,
            "tier": limb.tier,
            "trace": orjson.Fragment(self.trace.write(limb.trace)),
        }

    def _lift_words(self, lift: str) -> str:
        known = self.prepared.edition.vocabulary.lifts
        return known[lift].title if lift in known else "an answer to its questions"

    def _measures(self, limb: LimbDecision) -> dict[str, Any]:
        facts = limb.trace.facts
        found: dict[str, Any] = {}
        for name, words in self.measures:
            value = facts.get(name)
            if type(value) is Fraction:
                found[name] = {
                    "exact": exact_fraction(value),
                    "shown": show(value, words.places),
                    "unit": words.unit,
                }
            else:
                found[name] = _NOT_RECORDED if value is None else _state(value)
        return found

    def _materials(self, limb: LimbDecision, counting: list[int]) -> dict[str, Any]:
        edition = self.prepared.edition
        estimated = any(chosen.estimate is not None for chosen in limb.chosen)
        return {
            "avoided": [
                {
                    "material": avoided.name,
                    "rules": avoided.rules,
                    "title": edition.materials[avoided.name].title,
                }
                for avoided in limb.avoided
            ],
            "chosen": [
                {
                    "estimated_pressure": None
                    if chosen.estimate is None
                    else {
                        "ankle_mmhg": chosen.estimate.ankle_mmhg,
                        "calf_mmhg": chosen.estimate.calf_mmhg,
                    },
                    "length_cm": chosen.length_cm,
                    "material": chosen.name,
                    "rolls": chosen.rolls,
                    "rules": chosen.rules,
                    "title": edition.materials[chosen.name].title,
                }
                for chosen in limb.chosen
            ],
            "pressure_caveat": edition.wording.pressure_estimate if estimated else None,
            "technique": [
                entry
                for place in counting
                if self.instructions[place] and limb.trace.rules[place] == APPLIES and self._fits(place, limb)
                for entry in self.instructions[place]
            ],
        }


def instructions_fit(then: Conclusions, limb: LimbDecision) -> bool:
    """Whether the instructions of a rule that applies belong to the tier given and to what was chosen."""
    if then.instruct_at and limb.tier not in then.instruct_at:
        return False
    return not then.instruct_with or any(one.name in then.instruct_with for one in limb.chosen)


def record_writer(prepared: PreparedEdition) -> RecordWriter:
    """Write down once whatever does not depend on a decision."""
    edition = prepared.edition
    return RecordWriter(
        prepared=prepared,
        rule_ids=tuple(rule.id for rule in edition.rules),
        edition=_written(edition_summary(edition, prepared.guard_rails.version)),
        measures=tuple(sorted(edition.vocabulary.measures.items())),
        cites=tuple(rule.sources for rule in edition.rules),
        reasons=tuple(
            (
                None,
                *(
                    _written(
                        {
                            "because": rule.because,
                            "concludes": conclusions(rule.then),
                            "rule": rule.id,
                            "sources": rule.sources,
                            "state": state,
                            "title": rule.title,
                        }
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
                        _written({"rule": rule.id, "state": state, "text": text})
                        for text in rule.then.caution
                    )
                    for state in STATES[1:]
                ),
            )
            for rule in edition.rules
        ),
        instructions=tuple(
            tuple(_written({"rule": rule.id, "text": text}) for text in rule.then.instruct)
            for rule in edition.rules
        ),
        sources={
            name: _written({"basis": source.basis, "id": name, "title": source.title})
            for name, source in edition.sources.items()
        },
        trace=trace_writer(prepared),
        questions={name: (entry.scope, entry.question) for name, entry in edition.vocabulary.inputs.items()},
    )


def _written(value: object) -> orjson.Fragment:
    """JSON text that stands in records as it is."""
    return orjson.Fragment(orjson.dumps(value, option=orjson.OPT_SORT_KEYS))


_ENGINE: Final = _written({"service": __version__, "trace_format": TRACE_FORMAT})


def _state(value: Answer | None) -> dict[str, str | None]:
    """A measure that is no number."""
    return {"exact": None, "shown": exact_text(value), "unit": None}


_NOT_RECORDED: Final = _state(None)


def _review(review: Review, calendar: str) -> dict[str, Any]:
    return {
        "calendar": calendar,
        "due_on": review.due_on.isoformat(),
        "set_by": review.set_by,
        "within_hours": review.within_hours,
    }
