"""That a question a form need not ask moves nothing, proved for every answer to it and to all others."""

from __future__ import annotations

import random
from collections.abc import Mapping
from fractions import Fraction

import pytest

from limbtier.domain.assessment import Answer
from limbtier.engine.form import Form, FormReader
from limbtier.engine.prepared import PreparedEdition
from limbtier.engine.question_order import open_keys
from limbtier.governance.proofs.effects import same_outcome
from limbtier.governance.proofs.formulas import Formula, all_of, negated
from limbtier.governance.proofs.requests import SentAnswer, withdrawn
from limbtier.governance.proofs.session import Found, NoneFound
from limbtier.governance.proofs.workbench import Workbench
from limbtier.use_cases.decide import ReadyRules
from tests.support.assessments import MOMENT, AssessmentMaker
from tests.support.assessments import given as answers_given

NO_DANGER = dict.fromkeys(
    (
        "acute_limb_ischaemia_signs",
        "limb_threat_pain",
        "gangrene_or_necrosis",
        "suspected_dvt",
        "acute_infection",
        "suspected_skin_cancer",
        "bleeding_varicose_vein",
        "hot_swollen_foot",
    ),
    "no",
)
FORMS: Mapping[str, tuple[Mapping[str, Answer], Mapping[str, Answer]]] = {
    "nothing answered": ({}, {}),
    "a danger sign": ({"signs_of_sepsis": "yes"}, {"oedema": "to_knee"}),
    "no arterial test, leaking": (
        {"heart_failure_status": "none", "diabetes": "no"},
        {**NO_DANGER, "abpi_availability": "not_yet_done", "leaking": "yes", "current_tier": "none"},
    ),
    "advice that caps": (
        {"age_years": Fraction(80), "sleeps_in_chair": "no"},
        {**NO_DANGER, "vascular_advice": "support", "wound": "none", "pain_type": "none"},
    ),
    "advice against": ({}, {"vascular_advice": "no_compression", "leaking": "yes"}),
    "at mild, well": (
        {"can_report_problems": "yes"},
        {**NO_DANGER, "current_tier": "mild", "tolerance": "good", "sensation": "intact", "oedema": "none"},
    ),
}


@pytest.fixture(scope="module")
def bench(core: PreparedEdition, rules: ReadyRules) -> Workbench:
    return Workbench(core, rules.calendars)


def answered(sent: SentAnswer, answer: Answer) -> Formula:
    """The input is answered like this."""
    if isinstance(answer, str):
        return sent.words[answer]
    assert isinstance(answer, Fraction)
    return all_of((sent.given, sent.value == (answer * 10**sent.entry.places).numerator))


def not_open_moves_nothing(
    core: PreparedEdition, bench: Workbench, person: Mapping[str, Answer], limb: Mapping[str, Answer]
) -> bool:
    """Whether it is proved of a form, which answers there are to it not being sent at all where they are not
    open. False where nothing is to be proved: every unanswered question is open."""
    form = Form(FormReader(core), person, {"left": limb}, MOMENT.date())
    open_now = {key[0] for key in open_keys(form)}
    given = {**person, **limb}
    gone = {one: one not in given and one not in open_now for one in core.edition.vocabulary.inputs}
    if not any(gone.values()):
        return False
    without = bench.encode(withdrawn(bench.request, gone))
    pinned = [answered(bench.request[one], answer) for one, answer in given.items()]
    differs = negated(same_outcome(bench.encoding.outcome, without.outcome))
    with bench.session.supposing(*pinned, *without.accepted):
        assert isinstance(bench.session.find(True), Found)  # there are such assessments
        assert isinstance(bench.session.find(differs), NoneFound), given
    return True


@pytest.mark.parametrize("name", FORMS)
def test_no_answer_to_a_question_that_is_not_open_moves_the_outcome(
    name: str, core: PreparedEdition, bench: Workbench
) -> None:
    assert not_open_moves_nothing(core, bench, *FORMS[name])


def test_nor_does_it_in_forms_answered_at_random(core: PreparedEdition, bench: Workbench) -> None:
    maker = AssessmentMaker(core)
    proved = 0
    for seed in range(60):
        full = maker.make(seed)
        chance = random.Random(seed)
        share = chance.choice((0.3, 0.6, 0.9))
        person, limb = (
            {
                name: answer
                for name, answer in answers_given(answers).items()
                if isinstance(answer, str | Fraction) and chance.random() < share
            }
            for answers in (full.person, full.limbs["left"])
        )
        proved += not_open_moves_nothing(core, bench, person, limb)
    assert proved > 50
