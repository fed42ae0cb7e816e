"""Questions that a form asks, and its waits for the next: `python -m tests.benchmarks.form_questions`.

A form begins empty, for the legs of each contact of the demo cohort, and is answered from that contact; what
the contact leaves unanswered is asked in vain. Prints two tables; nothing is asserted.
"""

from __future__ import annotations

import os
import platform
import statistics
import time
from dataclasses import replace

import orjson

from limbtier.domain.assessment import SIDES, Assessment
from limbtier.engine.decide import decide_limb
from limbtier.engine.form import Form, FormReader, Key
from limbtier.engine.prepared import PreparedEdition
from limbtier.engine.question_order import open_keys, ordered
from limbtier.foundation.clock import now
from limbtier.foundation.settings import CHECKOUT
from limbtier.foundation.strict_json import read_json
from limbtier.measures.working_days import WorkingCalendar
from limbtier.use_cases.assessment_request import read_assessment
from limbtier.use_cases.decide import Decider, ReadyRules
from limbtier.use_cases.next_questions import FormQuestions, form_of
from limbtier.use_cases.ready_rules import ready_rules

COHORT = (CHECKOUT / "demo_data" / "assessments.jsonl").read_bytes().splitlines()
EMPTY = {"assessed_at": "2026-03-02T09:30:00Z", "calendar": "england", "person": {}}
ROUNDS = 60


def main() -> None:
    """Measure and print."""
    rules = ready_rules(CHECKOUT / "rules")
    prepared = rules.edition(None, now())
    assert prepared is not None
    print(f"Python {platform.python_version()}, {os.cpu_count()} cores, {prepared.edition.id}\n")
    waits(rules)
    questions(rules, prepared)


def waits(rules: ReadyRules) -> None:
    """From the bytes of a form to the bytes of its answer."""
    forms, decider = FormQuestions(Decider(rules)), Decider(rules)
    first = orjson.loads((CHECKOUT / "demo_data" / "incomplete_contact.json").read_bytes())
    bodies = {
        "empty form, one leg": {**EMPTY, "limbs": {"left": {}}},
        "empty form, both legs": {**EMPTY, "limbs": {side: {} for side in SIDES}},
        "form with some answers, one leg": first,
    }
    print(f"From bytes to bytes, {ROUNDS} rounds:")
    for name, body in bodies.items():
        sent = orjson.dumps(body)
        times = [timed(forms, sent) for _ in range(ROUNDS)]
        print(f"  {name:34} median {statistics.median(times):6.1f} ms   longest {max(times):6.1f} ms")
    start = time.perf_counter()
    decider.preview(orjson.dumps(first))
    print(f"  plain preview of the last of these {1000 * (time.perf_counter() - start):12.1f} ms\n")


def timed(forms: FormQuestions, body: bytes) -> float:
    """Milliseconds of one preview with the next questions."""
    start = time.perf_counter()
    forms.preview(body)
    return 1000 * (time.perf_counter() - start)


def questions(rules: ReadyRules, prepared: PreparedEdition) -> None:
    """Questions that are asked until none is open."""
    reader = FormReader(prepared)
    vocabulary = prepared.edition.vocabulary
    shares: list[float] = []
    of_answered: list[float] = []
    counts: list[int] = []
    for line in COHORT:
        assessment = read_assessment(read_json(line), lambda _name, _moment: prepared)[0]
        whole = form_of(reader, assessment)
        asked, form = filled(reader, whole)
        legs = len(whole.limbs)
        all_of_them = len(vocabulary.of_scope("person")) + legs * len(vocabulary.of_scope("limb"))
        counts.append(len(asked))
        shares.append(len(asked) / all_of_them)
        of_answered.append(len(asked) / (len(whole.person) + sum(len(limb) for limb in whole.limbs.values())))
        check(prepared, assessment, rules.calendars[assessment.calendar], form)
    print(f"{len(COHORT)} contacts, asked until nothing is open; every leg is decided as by all answers:")
    print(f"  questions asked               median {statistics.median(counts):6.0f}   most {max(counts):6}")
    for name, found in (("share of the vocabulary", shares), ("share of what was answered", of_answered)):
        print(f"  {name:29} median {statistics.median(found):6.1%}   most {max(found):6.1%}")


def filled(reader: FormReader, whole: Form) -> tuple[list[Key], Form]:
    """The questions asked, in their order, and the form as it then is."""
    form = Form(reader, {}, {side: {} for side in whole.limbs}, whole.day)
    asked: list[Key] = []
    while open_keys(form):
        passed = {name for name, _ in asked}
        ready = (one.key for one in ordered(form) if set(one.after) <= passed and one.key not in asked)
        key = next(ready, None)
        if key is None:
            break
        asked.append(key)
        answers = whole.person if key[1] is None else whole.limbs[key[1]]
        if key[0] in answers:
            form = form.with_answer(key, answers[key[0]])
    return asked, form


def check(prepared: PreparedEdition, contact: Assessment, calendar: WorkingCalendar, form: Form) -> None:
    """The form is decided as the whole contact."""
    person = dict(form.person)
    prepared.answers.complete(person, "person", {}, ())
    limbs = {side: dict(limb) for side, limb in form.limbs.items()}
    for limb in limbs.values():
        prepared.answers.complete(limb, "limb", person, ())
    short = replace(contact, person=person, limbs=limbs)
    for side in limbs:
        told = [
            (leg.tier, leg.target_tier, leg.disposition, leg.review.due_on)
            for leg in (decide_limb(prepared, side, one, calendar) for one in (contact, short))
        ]
        assert told[0] == told[1], (contact.episode, told)


if __name__ == "__main__":
    main()
