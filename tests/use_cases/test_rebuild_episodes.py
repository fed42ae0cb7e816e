"""Episodes are worked out anew from the log by a command."""

from __future__ import annotations

from pathlib import Path

import pytest

from limbtier.cli import main
from limbtier.domain.caller import Caller
from limbtier.foundation.settings import CHECKOUT, Settings
from limbtier.store.database import Database
from limbtier.store.episodes import EpisodeTable
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.episodes import Episodes
from limbtier.use_cases.follow_up import FollowUps
from limbtier.use_cases.open_log import open_log
from limbtier.use_cases.ready_pathway import ready_attention, ready_watch
from limbtier.use_cases.ready_rules import ready_rules

CONTACT = (CHECKOUT / "demo_data" / "first_contact.json").read_bytes()
CALLER = Caller("integrator-key", "quillerbeck", frozenset({"decide"}))


def test_the_command_works_out_what_was_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    settings = Settings(CHECKOUT / "rules", str(tmp_path / "log.sqlite3"), tmp_path / "keys", 65_536)
    rules = ready_rules(settings.rules)
    watch = ready_watch(settings.rules, [one.edition for one in rules.editions.values()])
    attention = ready_attention(settings.rules, watch)[0]
    database, log = open_log(settings)
    table = EpisodeTable(database)
    follow_ups = FollowUps(Decider(rules), Episodes(table, watch, attention))
    for day in (b"2026-03-02", b"2026-03-04"):
        body = CONTACT.replace(b'"assessed_at": "2026-03-02', b'"assessed_at": "' + day)
        assert day in body
        known = follow_ups.known(body, "quillerbeck")
        assert known is not None
        log.append(follow_ups.entry(body, CALLER, None, known))
    before = table.find("quillerbeck", "ep-heron-0001")
    _empty(database)
    assert table.find("quillerbeck", "ep-heron-0001") is None
    log.close()
    monkeypatch.setenv("LIMBTIER_DATABASE", settings.database)
    monkeypatch.setenv("LIMBTIER_LOG_KEYS", str(settings.log_keys))
    assert main(["episodes"]) == 0
    assert "Worked out 1 episodes" in capsys.readouterr().out
    database, log = open_log(settings)
    assert before is not None
    assert before.state.contacts == 2
    assert EpisodeTable(database).find("quillerbeck", "ep-heron-0001") == before
    log.close()


def _empty(database: Database) -> None:
    with database.writing() as cursor:
        cursor.execute("DELETE FROM episodes")
        cursor.execute("DELETE FROM episode_parts")
