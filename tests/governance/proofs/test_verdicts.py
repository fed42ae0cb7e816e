"""A counterexample is a request that the service takes, replayed, small, and offered as a worked case; what
the engine does not show, or the solver does not settle, is never called one."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

from limbtier.domain.edition import Edition
from limbtier.engine.decide import decide
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.errors import GuardRailBroken
from limbtier.foundation.strict_json import read_json
from limbtier.governance.proofs.prove import prove_edition, verdicts
from limbtier.governance.proofs.replay import CannotReplay
from limbtier.governance.proofs.session import NotSettled, Session
from limbtier.governance.proofs.verdict import Counterexample, Inconclusive, Proved, Statement, Verdict
from limbtier.governance.proofs.witness import Answers, as_json
from limbtier.governance.proofs.workbench import Workbench
from limbtier.rulesets.loader import read_edition
from limbtier.use_cases.assessment_request import read_assessment
from limbtier.use_cases.decide import ReadyRules
from tests.conftest import CHECKOUT
from tests.governance.proofs.catching import prepared_mutant
from tests.governance.proofs.mutations import MUTATIONS

STATEMENT = Statement("any", "test", "Anything.")
Refute = Callable[[str, str], Counterexample]


@pytest.fixture
def refute(core: PreparedEdition, rules: ReadyRules) -> Refute:
    """The counterexample that a seeded edit gives to a statement."""

    def found(name: str, statement: str) -> Counterexample:
        mutation = next(one for one in MUTATIONS if one.name == name)
        bench = Workbench(mutant(core, name), rules.calendars)
        verdict = next(one for one in verdicts(bench) if one.statement.id == statement)
        assert isinstance(verdict, Counterexample), mutation
        return verdict

    return found


def mutant(core: PreparedEdition, name: str) -> PreparedEdition:
    edit = next(one.edit for one in MUTATIONS if one.name == name)
    return prepared_mutant(edit(core.edition), core.guard_rails)


def test_the_service_refuses_the_request_of_a_broken_guard_rail(
    refute: Refute, core: PreparedEdition, rules: ReadyRules
) -> None:
    name = "reduced-supply-no-advice leaves 0.6 itself out"
    found = refute(name, "reduced-supply-needs-advice")
    prepared = mutant(core, name)
    request = read_json(as_json(found.request).encode())
    assessment, _ = read_assessment(request, lambda _name, _moment: prepared)
    with pytest.raises(GuardRailBroken, match="reduced-supply-needs-advice"):
        decide(prepared, assessment, rules.calendars[assessment.calendar], assessment.assessed_at)
    ankle = json.loads(as_json(found.request))["limbs"]["left"]
    arms = found.request["person"]
    pressures = [ankle.get(key) for key in ("dorsalis_pedis_mmhg", "posterior_tibial_mmhg")]
    highest = max(value for value in pressures if isinstance(value, int))
    arm = max(
        value
        for value in (arms.get("arm_pressure_left_mmhg"), arms.get("arm_pressure_right_mmhg"))
        if isinstance(value, int)
    )
    assert 5 * highest == 3 * arm, "only a ratio of exactly 0.6 shows it"
    assert any("refuses to give this answer" in line for line in found.says)


def test_no_answer_of_a_counterexample_can_be_left_out(refute: Refute, core: PreparedEdition) -> None:
    name = "suspected-dvt no longer limits"
    found = refute(name, "danger-sign-withholds")
    limb = found.request["limbs"]["left"]
    assert limb["suspected_dvt"] is True
    # Nothing else needs to be said: the disposition is not stop_and_escalate then.
    assert list(limb) == ["suspected_dvt"]
    assert found.request["person"] == {}
    assert len(found.words) == 1


def test_a_withdrawn_answer_is_shown_by_two_requests_that_differ_in_it_alone(refute: Refute) -> None:
    found = refute("an undetermined tier is reviewed after 14 days", "withdrawing-never-raises")
    assert found.after is not None
    before = {**found.request["person"], **found.request["limbs"]["left"]}
    after = {**found.after["person"], **found.after["limbs"]["left"]}
    assert len(before.keys() - after.keys()) == 1
    assert before.items() >= after.items()
    assert found.words[-1].startswith("Then: ")
    assert found.words[-1].endswith("is no longer answered.")


def test_a_limit_that_nothing_lifts_is_shown_where_it_applies(refute: Refute) -> None:
    found = refute("hf-stable-nyha3-agreed never ends", "hf-stable-nyha3-agreed-lifts")
    assert found.request["person"]["heart_failure_team_advice"] == "agrees"


def test_complete_answers_stay_complete_in_their_counterexample(
    refute: Refute, core: PreparedEdition
) -> None:
    found = refute("an arm pressure of 0 is taken", "complete-answers-decide")
    assert len(found.request["limbs"]["left"]) > 20
    assert 0 in found.request["person"].values()


def test_a_counterexample_is_a_worked_case_that_the_loader_takes(refute: Refute) -> None:
    found = refute("severe-ischaemia begins at 0.4", "critical-arterial-values-withhold")
    edition = core_with_case(found.worked_case)
    case = next(case for case in edition.cases if case.id == "proof-critical-arterial-values-withhold")
    assert case.assessment["person"] == read_json(as_json(found.request).encode())["person"]
    assert case.expect["tier"] != "withhold"
    assert "Broken" in case.story


def core_with_case(text: str) -> Edition:
    folder = CHECKOUT / "rules" / "core" / "2026.1.0"
    files = {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()
    }
    files["edition.yaml"] = files["edition.yaml"].replace(b"status: released", b"status: draft")
    return read_edition("core", "2026.1.0", {**files, "cases/found.yaml": text.encode()}, {})


@pytest.fixture(scope="module")
def bench(core: PreparedEdition, rules: ReadyRules) -> Workbench:
    return Workbench(core, rules.calendars)


def test_what_the_engine_does_not_show_is_no_counterexample(bench: Workbench) -> None:
    verdict = bench.settle(STATEMENT, True, lambda _answers: None)
    assert isinstance(verdict, Inconclusive)
    assert "the encoding disagrees with the engine" in verdict.reason


def test_what_the_engine_refuses_is_no_counterexample(bench: Workbench) -> None:
    def refuses(_answers: Answers) -> None:
        raise CannotReplay("the request is refused")

    verdict = bench.settle(STATEMENT, True, refuses)
    assert isinstance(verdict, Inconclusive)
    assert "the request is refused" in verdict.reason


def test_what_the_solver_does_not_settle_is_inconclusive_with_the_reason(
    core: PreparedEdition, rules: ReadyRules, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Session, "find", lambda *_, **__: NotSettled("the solver ran out of time"))
    found = prove_edition(core, rules.calendars)
    assert found
    assert not any(isinstance(one, Proved | Counterexample) for one in found)
    reasons = {one.reason for one in found if isinstance(one, Inconclusive)}
    assert any("ran out of time" in reason for reason in reasons)


def test_a_solver_that_is_stopped_at_once_settles_nothing_wrongly(
    core: PreparedEdition, rules: ReadyRules
) -> None:
    found: list[Verdict] = prove_edition(core, rules.calendars, milliseconds=1)
    assert not any(isinstance(one, Counterexample) for one in found)


def test_a_period_that_no_calendar_reaches_gives_no_counterexample(
    core: PreparedEdition, rules: ReadyRules
) -> None:
    bench = Workbench(mutant(core, "suspected-dvt no longer limits"), {})
    verdict = next(one for one in verdicts(bench) if one.statement.id == "danger-sign-withholds")
    assert isinstance(verdict, Inconclusive)
    assert "no calendar reaches" in verdict.reason
