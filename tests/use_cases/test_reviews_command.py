"""`limbtier due` and `limbtier caseload`: a table, files, and clear refusals."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from limbtier.cli import main
from limbtier.domain.due_reviews import AttentionDays, DueFilter
from limbtier.domain.entry import Entry
from limbtier.domain.episode_fold import refold
from limbtier.store.due_list import DueTable, mark_of
from limbtier.store.entries import EntryStore
from limbtier.store.episodes import EpisodeChange, EpisodeTable
from limbtier.store.opening import open_database
from tests.support.episodes import KEEPING, PartMaker

Captured = pytest.CaptureFixture[str]
DAY = date(2026, 2, 1)


@pytest.fixture
def database(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Thirty episodes of one contact each, every third stuck, every fifth not assessed."""
    file = tmp_path / "decisions.sqlite3"
    monkeypatch.setenv("LIMBTIER_DATABASE", str(file))
    opened = open_database(file)
    store, table = EntryStore(opened), EpisodeTable(opened)
    for number in range(30):
        contact = PartMaker(number).contact(datetime(2026, 1, 2 + number % 25, 9, tzinfo=UTC))
        state = refold([contact], KEEPING)
        assert state is not None
        days = AttentionDays(None if number % 3 else DAY, None if number % 5 else DAY)
        change = EpisodeChange("quillerbeck", f"EP-{number}", None, contact, state, days)
        entry = Entry("made_up", f"e-{number}", "quillerbeck", contact.at, b"{}", also=table.changing(change))
        store.append([entry])
    opened.close()
    return file


def test_the_store_finds_what_each_episode_says_of_itself(database: Path) -> None:
    opened = open_database(database)
    table = DueTable(opened)
    every = table.find(DueFilter("quillerbeck", DAY), None, 100)
    assert [mark_of(one) for one in every] == sorted(mark_of(one) for one in every)
    counts = table.counts(DueFilter("quillerbeck", DAY))
    assert counts["all"] == len(every) == len({one.reference for one in every})
    for status in ("overdue", "due", "stuck_on_starter_tier", "assessment_overdue"):
        wanted = DueFilter("quillerbeck", DAY, (status,))
        named = [one.reference for one in every if status in one.statuses(DAY)]
        assert [one.reference for one in table.find(wanted, None, 100)] == named
        assert counts[status] == len(named)
    seen = []
    after = None
    while page := table.find(DueFilter("quillerbeck", DAY), after, 4):
        seen += page
        after = mark_of(page[-1])
    assert seen == every
    assert table.find(DueFilter("elsewhere", DAY), None, 100) == []
    opened.close()


def test_the_table_is_cut_at_its_limit_and_says_how_many_more_there_are(
    database: Path, capsys: Captured
) -> None:
    assert main(["due", "--organisation", "quillerbeck", "--on", "2026-02-01", "--limit", "5"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("On Sun 1 February 2026: ")
    assert lines[2].split()[:2] == ["episode", "review"]
    assert len([line for line in lines if line.startswith("EP-")]) == 5
    assert lines[-1].startswith("... and ")


def test_the_list_comes_as_json(database: Path, capsys: Captured) -> None:
    options = ["--on", "2026-02-01", "--status", "stuck_on_starter_tier", "--json"]
    assert main(["due", "--organisation", "quillerbeck", *options]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["counts"]["all"] == found["counts"]["stuck_on_starter_tier"] == len(found["episodes"]) == 10


def test_a_caseload_is_summed_up_and_written_as_files(
    database: Path, tmp_path: Path, capsys: Captured
) -> None:
    files = {form: tmp_path / f"out.{form}" for form in ("json", "csv", "svg")}
    options = [word for form, file in files.items() for word in (f"--{form}", str(file))]
    assert main(["caseload", "--organisation", "quillerbeck", "--as-of", "2026-02-01", *options]) == 0
    legs = json.loads(files["json"].read_bytes())["legs"]
    assert capsys.readouterr().out.startswith(f"{legs} legs up to 2026-02-01")
    assert f"legs,2026-02-01,,{legs},{legs}," in files["csv"].read_text(encoding="utf-8")
    assert files["svg"].read_text(encoding="utf-8").startswith("<svg ")


@pytest.mark.parametrize(
    "arguments",
    [
        ["due"],
        ["due", "--organisation", "quillerbeck", "--on", "tomorrow"],
        ["due", "--organisation", "quillerbeck", "--limit", "0"],
        ["due", "--organisation", "quillerbeck", "--status", "late"],
        ["caseload", "--organisation", "quillerbeck", "--from", "2026-02-30"],
    ],
)
def test_bad_arguments_are_refused(database: Path, arguments: list[str]) -> None:
    with pytest.raises(SystemExit) as caught:
        main(arguments)
    assert caught.value.code == 2


def test_without_a_database_nothing_is_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    file = tmp_path / "none.sqlite3"
    monkeypatch.setenv("LIMBTIER_DATABASE", str(file))
    assert main(["due", "--organisation", "quillerbeck"]) == 2
    assert "none.sqlite3" in capsys.readouterr().err
    assert not file.exists()
