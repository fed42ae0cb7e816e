"""Loads editions, guard rails, calendars and the list of released editions; all errors are named at once."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.domain.rule import GuardRails
from limbtier.measures.working_days import WorkingCalendar
from limbtier.rulesets.base_order import name_unknown_base
from limbtier.rulesets.digest import digest, files_of
from limbtier.rulesets.edition_files import (
    HEAD,
    SINGLE_FILES,
    EditionFiles,
    base_named,
    name_too_many_files,
)
from limbtier.rulesets.findings import Findings, Placed
from limbtier.rulesets.local_edition import read_local_edition, starting_points
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.read_calendar import read_calendars
from limbtier.rulesets.read_cases import CasesRead, check_marked_invented, read_cases, read_starts
from limbtier.rulesets.read_guard_rails import read_guard_rails
from limbtier.rulesets.read_lists import (
    ListsRead,
    read_arrangements,
    read_materials,
    read_sources,
    read_tiers,
    read_wording,
)
from limbtier.rulesets.read_local_head import LOCAL_EDITION
from limbtier.rulesets.read_released import Released, read_released
from limbtier.rulesets.read_rules import EditionNames, RuleRead, read_rules
from limbtier.rulesets.read_settings import EditionRead, read_edition_head
from limbtier.rulesets.read_teams import read_teams
from limbtier.rulesets.read_vocabulary import VocabularyRead, read_vocabulary
from limbtier.rulesets.rule_checks import check_rules
from limbtier.rulesets.rule_file import compose_file, read_file
from limbtier.rulesets.strata import stratify
from limbtier.rulesets.strict_yaml import compose

NO_EDITIONS: Final[Mapping[str, Edition]] = MappingProxyType({})


def load_edition(
    folder: Path, released: Mapping[str, str], editions: Mapping[str, Edition] = NO_EDITIONS
) -> Edition:
    """The edition of a folder `<set>/<version>`, checked against the digests of all released editions.

    `editions` are those that it may be based on. Files are named relative to the rules folder, which holds
    the set. Raises InvalidRuleFiles with every diagnostic of every file.
    """
    rule_set, version = folder.resolve().parts[-2:]
    found = Findings()
    contents: dict[str, bytes] = {}
    paths = files_of(folder)
    name_too_many_files(len(paths), f"{rule_set}/{version}", found)
    found.refuse()
    for relative, path in paths.items():
        data = read_file(path, f"{rule_set}/{version}/{relative}", found)
        if data is not None:
            contents[relative] = data
    found.refuse()
    return read_edition(rule_set, version, contents, released, editions)


def read_edition(
    rule_set: str,
    version: str,
    contents: Mapping[str, bytes],
    released: Mapping[str, str],
    editions: Mapping[str, Edition] = NO_EDITIONS,
) -> Edition:
    """The edition whose files are given by their path inside its folder. Raises InvalidRuleFiles."""
    found = Findings()
    files = EditionFiles(rule_set, version, contents, found)
    edition = _read(files, released, editions, found)
    found.refuse()
    if edition is None:
        raise AssertionError("an edition without findings has all its parts")
    return edition


def named_base(folder: Path) -> Placed[str] | None:
    """What an edition in a folder says it is based on, one or `none`; None where it cannot be told."""
    rule_set, version = folder.resolve().parts[-2:]
    data = read_file(folder / HEAD, HEAD, Findings())
    return base_named(data, f"{rule_set}/{version}/{HEAD}") if data is not None else None


def _read(
    files: EditionFiles, released: Mapping[str, str], editions: Mapping[str, Edition], found: Findings
) -> Edition | None:
    if not files.contents:
        advice = "Give the folder of an edition, `<set>/<version>`."
        found.add_file("missing-file", files.folder, "Here is no edition.", advice)
        return None
    if files.too_large():
        return None
    named = base_named(files.contents.get(HEAD, b""), files.place(HEAD))
    if named is None and _only_head_read(files, found):
        return None
    if named is None or named.value == "none":
        return _read_whole(files, released, found)
    base = editions.get(named.value)
    if base is not None:
        return read_local_edition(files, base, released, found)
    name_unknown_base(named, [name for name in editions if name != files.id], found)
    return None


def _only_head_read(files: EditionFiles, found: Findings) -> bool:
    """Whether it cannot be told what the edition is based on, and so which files it needs. What is wrong
    with its head is then named, and nothing is said about the rest."""
    whole = re.search(rb"(?m)^measures:", files.contents.get("vocabulary.yaml", b""))
    if HEAD not in files.contents or whole:
        return False
    root = files.tree(HEAD)
    if root is not None:
        LOCAL_EDITION.read(root, "The file", found)
    return len(found) > 0


def load_guard_rails(file: Path, edition: Edition) -> GuardRails:
    """The guard rails of a file, their names checked against an edition. Raises InvalidRuleFiles."""
    found = Findings()
    name = f"{file.parent.name}/{file.name}"
    data = read_file(file, name, found)
    root = compose(data, name, found) if data is not None else None
    rails = read_guard_rails(root, file.stem, digest({file.name: data or b""}), edition, found)
    found.refuse()
    return rails


def load_calendars(file: Path) -> Mapping[str, WorkingCalendar]:
    """The working calendar of each nation of a file, and of each team in `teams.yaml` beside it, if there is
    one. Raises InvalidRuleFiles."""
    found = Findings()
    nations = read_calendars(_root(file, found), found)
    teams_file = file.with_name("teams.yaml")
    teams = read_teams(_root(teams_file, found), nations, found) if teams_file.exists() else {}
    found.refuse()
    return {**nations, **teams}


def _root(file: Path, found: Findings) -> Node | None:
    return compose_file(file, f"{file.parent.name}/{file.name}", found)


def load_released(file: Path) -> Released:
    """Every released edition, with its digest. Raises InvalidRuleFiles."""
    found = Findings()
    data = read_file(file, file.name, found)
    released = read_released(compose(data, file.name, found) if data is not None else None, found)
    found.refuse()
    return released


def _read_whole(files: EditionFiles, released: Mapping[str, str], found: Findings) -> Edition | None:
    """An edition that is based on no other, or None when anything was found."""
    files.check(SINGLE_FILES)
    if not files.inside("rules"):
        message = "The folder holds no file of rules."
        found.add_file("missing-file", files.place("rules"), message, "Add a file such as `topic.yaml`.")
    roots = {name: files.tree(name) for name in SINGLE_FILES}
    lists = ListsRead()
    read_tiers(roots["tiers.yaml"], lists, found)
    read_sources(roots["sources.yaml"], lists, found)
    read_arrangements(roots["arrangements.yaml"], lists, found)
    read_materials(roots["materials.yaml"], lists, found)
    read_wording(roots["wording.yaml"], lists, found)
    vocabulary = read_vocabulary(roots["vocabulary.yaml"], found)
    head = read_edition_head(roots[HEAD], files.rule_set, files.version, lists.source_ids, found)
    names = EditionNames(
        testable=vocabulary.testable,
        tiers=lists.tier_names,
        lifts=vocabulary.lift_names,
        settings=head.setting_names,
        arrangements=lists.arrangement_names,
        materials=lists.material_names,
        sources=lists.source_ids,
    )
    names.rules.complete = bool(files.inside("rules"))
    rules = [rule for name in files.inside("rules") for rule in read_rules(files.tree(name), names, found)]
    files.check_number_of_rules(len(rules))
    check_rules(rules, names, found)
    cases = _cases(files, names, found)
    fingerprint = digest(files.contents)
    files.check_released(head.status, fingerprint, released)
    return None if len(found) else _assembled(head, fingerprint, vocabulary, lists, rules, cases)


def _cases(files: EditionFiles, names: EditionNames, found: Findings) -> CasesRead:
    read = CasesRead()
    fields = []
    for name in files.inside("cases"):
        check_marked_invented(files.contents[name], files.place(name), found)
        fields.append(read_starts(files.tree(name), files.place(name), names, read, found))
    for one in fields:
        read_cases(one, names, read, found)
    return read


def _assembled(
    head: EditionRead,
    fingerprint: str,
    vocabulary: VocabularyRead,
    lists: ListsRead,
    rules: Sequence[RuleRead],
    cases: CasesRead,
) -> Edition | None:
    """The edition once nothing was found; its rules in the order of their strata."""
    plain = [read.rule for read in rules]
    strata = stratify(plain, vocabulary.facts)
    if isinstance(strata, list) or lists.wording is None:
        return None
    order = sorted(range(len(plain)), key=lambda place: strata[place])
    return Edition(
        name=head.name,
        version=head.version,
        title=head.title,
        status=head.status,
        effective_from=head.effective_from,
        based_on=None,
        owner=head.owner,
        review_by=head.review_by,
        digest=fingerprint,
        vocabulary=vocabulary.vocabulary(),
        tiers=tuple(lists.tiers),
        settings=head.settings,
        sources=lists.sources,
        arrangements=lists.arrangements,
        materials=lists.materials,
        wording=lists.wording,
        rules=tuple(plain[place] for place in order),
        strata=tuple(strata[place] for place in order),
        cases=tuple(cases.cases),
        guard_rails=head.guard_rails,
        starting_points=starting_points(cases),
    )
