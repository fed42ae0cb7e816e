"""Follow-up decisions where past assessments are decided again: they are completed as they were."""

from __future__ import annotations

from pathlib import Path

import orjson
import pytest

from limbtier.domain.caller import Caller
from limbtier.foundation.settings import CHECKOUT
from limbtier.store.entries import EntryStore
from limbtier.store.episodes import EpisodeTable
from limbtier.store.opening import open_database
from limbtier.use_cases.decide import Decider, ReadyRules
from limbtier.use_cases.episode_contact import part_of_record
from limbtier.use_cases.episodes import Episodes
from limbtier.use_cases.follow_up import FollowUps
from limbtier.use_cases.measure_impact import Candidate, Measurer
from limbtier.use_cases.past_assessments import PastAssessment
from limbtier.use_cases.ready_pathway import ready_attention, ready_watch
from limbtier.use_cases.ready_rules import ready_rules

RULES = CHECKOUT / "rules"
CALLER = Caller("integrator-key", "quillerbeck", frozenset({"decide"}))
FIRST = orjson.loads((CHECKOUT / "demo_data" / "first_contact.json").read_bytes())


@pytest.fixture(scope="module")
def rules() -> ReadyRules:
    return ready_rules(RULES)


@pytest.fixture
def follow_ups(rules: ReadyRules, tmp_path: Path) -> FollowUps:
    watch = ready_watch(RULES, [one.edition for one in rules.editions.values()])
    database = open_database(tmp_path / "log.sqlite3")
    return FollowUps(
        Decider(rules), Episodes(EpisodeTable(database), watch, ready_attention(RULES, watch)[0])
    )


def _two_decisions(follow_ups: FollowUps) -> tuple[bytes, bytes]:
    table = follow_ups.episodes.table
    store = EntryStore(table._database)
    leg = {name: one for name, one in FIRST["limbs"]["left"].items() if not name.startswith("first_contact")}
    leg = {name: one for name, one in leg.items() if name not in ("current_tier", "sensation")}
    leg |= {"tolerance": "good", "progress": "better"}
    second = {**FIRST, "assessed_at": "2026-03-04T09:30:00+00:00", "limbs": {"left": leg}}
    records = []
    for request in (FIRST, second):
        body = orjson.dumps(request)
        known = follow_ups.known(body, "quillerbeck")
        assert known is not None
        entry = follow_ups.entry(body, CALLER, None, known)
        store.append([entry])
        records.append(entry.data)
    return records[0], records[1]


def test_an_impact_is_measured_on_assessments_as_they_were_completed(
    follow_ups: FollowUps, rules: ReadyRules
) -> None:
    records = _two_decisions(follow_ups)
    edition = orjson.loads(records[1])["edition"]["id"]
    measurer = Measurer.of(rules, Candidate(RULES, edition))
    for data in (*records, orjson.dumps(orjson.loads(records[1]), option=orjson.OPT_INDENT_2)):
        impact = measurer.measure([PastAssessment("a decision", None, data)])
        assert (impact.legs, impact.changes, impact.not_decided) == (1, [], [])


def test_a_contact_read_from_its_record_is_the_one_that_was_kept(follow_ups: FollowUps) -> None:
    records = _two_decisions(follow_ups)
    kept = follow_ups.episodes.table.parts("quillerbeck", FIRST["episode"])
    for one, data in zip(kept, records, strict=True):
        assert part_of_record(orjson.loads(data)) == ("quillerbeck", FIRST["episode"], one.part)
