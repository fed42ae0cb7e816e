"""The log says which editions decide here: once for each, whoever starts first."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from limbtier.audit.checkpoint_key import KeyFolder
from limbtier.audit.log import Log
from limbtier.domain.entry import Entry
from limbtier.store.entries import EntryStore
from limbtier.store.faults import Conflict
from limbtier.store.opening import open_database
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.record_editions import record_editions


@pytest.fixture
def log(tmp_path: Path) -> Log:
    store = EntryStore(open_database(tmp_path / "log.sqlite3"))
    return Log(store, KeyFolder(tmp_path / "keys"), "limbtier.invalid/test")


def records(log: Log) -> list[dict[str, str]]:
    return [json.loads(entry.data) for entry in log.store.entries_from(0, log.size)]


def test_each_released_edition_is_an_entry_once(log: Log, rules: ReadyRules) -> None:
    editions = [one.edition for one in rules.editions.values()]
    assert record_editions(editions, log.store, log.append) == len(editions)
    assert record_editions(editions, log.store, log.append) == 0
    assert {(one["kind"], one["edition"], one["digest"]) for one in records(log)} == {
        ("edition_released", one.id, one.digest) for one in editions
    }


def test_an_edition_retired_later_is_an_entry_of_its_own_and_a_draft_is_none(
    log: Log, rules: ReadyRules
) -> None:
    edition = next(iter(rules.editions.values())).edition
    record_editions([edition], log.store, log.append)
    record_editions([replace(edition, status="retired")], log.store, log.append)
    record_editions([replace(edition, status="draft")], log.store, log.append)
    assert [one["kind"] for one in records(log)] == ["edition_released", "edition_retired"]


def test_two_that_start_at_once_make_one_entry(log: Log, rules: ReadyRules) -> None:
    edition = next(iter(rules.editions.values())).edition

    def taken(_entry: Entry) -> None:
        raise Conflict([])

    assert record_editions([edition], log.store, taken) == 0
    assert log.size == 0
