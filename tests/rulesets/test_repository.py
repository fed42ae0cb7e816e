"""All editions of a rules folder, held loaded."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import pytest

from limbtier.domain.edition import active_edition
from limbtier.foundation.errors import InvalidRuleFiles, NotFound
from limbtier.rulesets.digest import digest, files_of
from limbtier.rulesets.repository import AddedEdition, RuleRepository, load_added
from tests.rulesets.golden import EDITION, SMALL_RULES, copy_of_local_edition, copy_of_small_rules
from tests.rulesets.small import local_files


def add_edition(rules: Path, version: str, status: str, effective_from: str) -> None:
    """A copy of the small edition under another version, entered as released where it says so."""
    folder = rules / "small" / version
    shutil.copytree(SMALL_RULES / EDITION, folder)
    head = folder / "edition.yaml"
    text = head.read_text(encoding="utf-8").replace("version: 2026.1.0", f"version: {version}")
    text = text.replace("effective_from: 2026-01-01", f"effective_from: {effective_from}")
    head.write_text(text, encoding="utf-8", newline="\n")
    (folder / "CHANGES.md").write_text(f"## {version}\n", encoding="utf-8", newline="\n")
    if status == "released":
        head.write_text(text.replace("status: draft", "status: released"), encoding="utf-8", newline="\n")
        fingerprint = digest({name: path.read_bytes() for name, path in files_of(folder).items()})
        released = rules / "released.yaml"
        listed = released.read_text(encoding="utf-8").replace("editions: []", "editions:")
        listed += f"  - {{edition: small-{version}, digest: '{fingerprint}'}}\n"
        released.write_text(listed, encoding="utf-8", newline="\n")


def test_an_edition_is_found_by_its_id_with_its_guard_rails_and_calendars() -> None:
    repository = RuleRepository(SMALL_RULES)
    assert repository.edition("small-2026.1.0").id == "small-2026.1.0"
    assert repository.guard_rails("small-2026.1.0").version == "1.0.0"
    assert set(repository.calendars) == {"england", "wales", "scotland", "northern_ireland"}
    assert list(repository.editions) == ["small-2026.1.0"]


def test_an_unknown_edition_is_named_with_the_closest() -> None:
    with pytest.raises(NotFound, match=r"Did you mean `small-2026\.1\.0`"):
        RuleRepository(SMALL_RULES).edition("small-2026.1.1")


def test_of_a_set_the_latest_released_edition_in_force_is_active_and_a_draft_only_without_one(
    tmp_path: Path,
) -> None:
    def active(day: date, rule_set: str = "small") -> str | None:
        found = active_edition(repository.editions.values(), day, rule_set)
        return None if found is None else found.id

    rules = copy_of_small_rules(tmp_path)
    repository = RuleRepository(rules)
    assert active(date(2026, 1, 1)) == "small-2026.1.0"
    assert active(date(2025, 12, 31)) is None
    add_edition(rules, "2026.2.0", "draft", "2026-02-01")
    add_edition(rules, "2026.3.0", "released", "2026-03-01")
    add_edition(rules, "2026.10.0", "released", "2026-03-01")
    add_edition(rules, "2026.11.0", "released", "2026-06-01")
    copy_of_local_edition(rules, "2027.1.0")
    repository.reload()
    assert active(date(2026, 2, 1)) == "small-2026.2.0"
    assert active(date(2026, 3, 1)) == "small-2026.10.0"
    assert active(date(2026, 6, 1)) == "small-2026.11.0"
    assert active(date(2026, 6, 1), "local") == "local-2027.1.0"
    assert active(date(2026, 6, 1), "other") is None


def test_a_reload_that_fails_keeps_what_was_loaded(tmp_path: Path) -> None:
    rules = copy_of_small_rules(tmp_path)
    repository = RuleRepository(rules)
    before = repository.snapshot
    head = rules / EDITION / "edition.yaml"
    sound = head.read_bytes()
    head.write_bytes(sound.replace(b"status: draft", b"status: drafted"))
    with pytest.raises(InvalidRuleFiles, match="unknown-word"):
        repository.reload()
    assert repository.snapshot is before
    head.write_bytes(sound.replace(b"A made-up edition", b"Another made-up edition"))
    repository.reload()
    assert repository.edition("small-2026.1.0").title == "Another made-up edition for tests"
    assert before.editions["small-2026.1.0"].title == "A made-up edition for tests"


def test_what_is_wrong_in_several_editions_is_named_at_once(tmp_path: Path) -> None:
    rules = copy_of_small_rules(tmp_path)
    add_edition(rules, "2026.2.0", "draft", "2026-02-01")
    for version in ("2026.1.0", "2026.2.0"):
        (rules / "small" / version / "sources.yaml").unlink()
    (rules / "released.yaml").unlink()
    with pytest.raises(InvalidRuleFiles) as refused:
        RuleRepository(rules)
    assert [entry.place() for entry in refused.value.diagnostics] == [
        "released.yaml",
        "small/2026.1.0/sources.yaml",
        "small/2026.2.0/sources.yaml",
    ]


def test_a_rules_folder_without_editions_is_refused(tmp_path: Path) -> None:
    rules = copy_of_small_rules(tmp_path)
    shutil.rmtree(rules / "small")
    with pytest.raises(InvalidRuleFiles, match="holds no edition"):
        RuleRepository(rules)


def test_an_edition_from_elsewhere_is_loaded_beside_those_of_the_folder() -> None:
    added = {"local-2026.1.0": AddedEdition(local_files())}
    repository = RuleRepository(SMALL_RULES, added)
    draft = repository.edition("local-2026.1.0")
    assert (draft.status, draft.based_on) == ("draft", "small-2026.1.0")
    assert repository.guard_rails("local-2026.1.0").version == "1.0.0"
    editions, guard_rails = load_added(SMALL_RULES, added, RuleRepository(SMALL_RULES).editions)
    assert editions == {"local-2026.1.0": draft}
    assert set(guard_rails) == {"local-2026.1.0"}
    released = {"local-2026.1.0": AddedEdition(local_files(), draft.digest)}
    assert RuleRepository(SMALL_RULES, released).edition("local-2026.1.0").status == "released"


def test_an_edition_from_elsewhere_that_is_not_as_it_was_released_is_refused() -> None:
    other = {"local-2026.1.0": AddedEdition(local_files(), f"sha256:{'0' * 64}")}
    with pytest.raises(InvalidRuleFiles, match="was changed after its release"):
        RuleRepository(SMALL_RULES, other)
    alone = {"local-2026.1.0": AddedEdition(local_files())}
    with pytest.raises(InvalidRuleFiles, match=r"no edition `small-2026\.1\.0` to be based on"):
        load_added(SMALL_RULES, alone, {})
