"""Loads editions, guard rails, calendars and the list of released editions; all errors are named at once."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.domain.rule import GuardRails
from limbtier.measures.working_days import WorkingCalendar
from limbtier.rulesets.digest import digest, files_of
from limbtier.rulesets.findings import Findings
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
from limbtier.rulesets.read_released import read_released
from limbtier.rulesets.read_rules import EditionNames, RuleRead, read_rules
from limbtier.rulesets.read_settings import EditionRead, read_edition_head
from limbtier.rulesets.read_vocabulary import VocabularyRead, read_vocabulary
from limbtier.rulesets.rule_checks import check_rules
from limbtier.rulesets.strata import stratify
from limbtier.rulesets.strict_yaml import LARGEST_BYTES, compose

CHANGES: Final = "CHANGES.md"
SINGLE_FILES: Final = (
    "edition.yaml",
    "vocabulary.yaml",
    "tiers.yaml",
    "sources.yaml",
    "arrangements.yaml",
    "materials.yaml",
    "wording.yaml",
)


def load_edition(folder: Path, released: Mapping[str, str]) -> Edition:
    """The edition of a folder `<set>/<version>`, checked against the digests of all released editions.

    Files are named relative to the rules folder, which holds the set. Raises InvalidRuleFiles with every
    diagnostic of every file.
    """
    rule_set, version = folder.resolve().parts[-2:]
    found = Findings()
    contents: dict[str, bytes] = {}
    for relative, path in files_of(folder).items():
        data = _read_file(path, f"{rule_set}/{version}/{relative}", found)
        if data is not None:
            contents[relative] = data
    found.refuse()
    return read_edition(rule_set, version, contents, released)


def read_edition(
    rule_set: str, version: str, contents: Mapping[str, bytes], released: Mapping[str, str]
) -> Edition:
    """The edition whose files are given by their path inside its folder. Raises InvalidRuleFiles."""
    found = Findings()
    edition = _Reading(rule_set, version, contents, found).edition(released)
    found.refuse()
    if edition is None:
        raise AssertionError("an edition without findings has all its parts")
    return edition


def load_guard_rails(file: Path, edition: Edition) -> GuardRails:
    """The guard rails of a file, their names checked against an edition. Raises InvalidRuleFiles."""
    found = Findings()
    name = f"{file.parent.name}/{file.name}"
    data = _read_file(file, name, found)
    root = compose(data, name, found) if data is not None else None
    rails = read_guard_rails(root, file.stem, digest({file.name: data or b""}), edition, found)
    found.refuse()
    return rails


def load_calendars(file: Path) -> Mapping[str, WorkingCalendar]:
    """The working calendar of each nation of a file. Raises InvalidRuleFiles."""
    found = Findings()
    name = f"{file.parent.name}/{file.name}"
    data = _read_file(file, name, found)
    calendars = read_calendars(compose(data, name, found) if data is not None else None, found)
    found.refuse()
    return calendars


def load_released(file: Path) -> Mapping[str, str]:
    """The digest of every released edition by its id. Raises InvalidRuleFiles."""
    found = Findings()
    data = _read_file(file, file.name, found)
    released = read_released(compose(data, file.name, found) if data is not None else None, found)
    found.refuse()
    return released


def _read_file(file: Path, name: str, found: Findings) -> bytes | None:
    """The bytes of a file, at most one more than a rule file may have; None when it cannot be read."""
    try:
        with file.open("rb") as opened:
            return opened.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        found.add_file("missing-file", name, "The file is missing.", f"Add `{name}`.")
    except OSError as error:
        found.add_file("missing-file", name, "The file cannot be opened.", f"Check it: {error.strerror}.")
    return None


class _Reading:
    """One edition on its way from bytes to an Edition."""

    def __init__(self, rule_set: str, version: str, contents: Mapping[str, bytes], found: Findings) -> None:
        self._found = found
        self._set, self._version = rule_set, version
        self._prefix = f"{rule_set}/{version}"
        self._contents = dict(sorted(contents.items()))

    def edition(self, released: Mapping[str, str]) -> Edition | None:
        """The edition, or None when anything was found."""
        found = self._found
        if not self._contents:
            advice = "Give the folder of an edition, `<set>/<version>`."
            found.add_file("missing-file", self._prefix, "Here is no edition.", advice)
            return None
        self._check_files()
        roots = {name: self._compose(name) for name in SINGLE_FILES}
        lists = ListsRead()
        read_tiers(roots["tiers.yaml"], lists, found)
        read_sources(roots["sources.yaml"], lists, found)
        read_arrangements(roots["arrangements.yaml"], lists, found)
        read_materials(roots["materials.yaml"], lists, found)
        read_wording(roots["wording.yaml"], lists, found)
        vocabulary = read_vocabulary(roots["vocabulary.yaml"], found)
        head = read_edition_head(roots["edition.yaml"], self._set, self._version, lists.source_ids, found)
        names = EditionNames(
            testable=vocabulary.testable,
            tiers=lists.tier_names,
            lifts=vocabulary.lift_names,
            settings=head.setting_names,
            arrangements=lists.arrangement_names,
            materials=lists.material_names,
            sources=lists.source_ids,
        )
        names.rules.complete = bool(self._in_folder("rules"))
        rules = [
            rule
            for name in self._in_folder("rules")
            for rule in read_rules(self._compose(name), names, found)
        ]
        check_rules(rules, names, found)
        cases = self._cases(names)
        fingerprint = digest(self._contents)
        self._check_released(head, fingerprint, released)
        return None if len(found) else _assembled(head, fingerprint, vocabulary, lists, rules, cases)

    def _in_folder(self, folder: str) -> list[str]:
        return [name for name in self._contents if re.match(rf"{folder}/[^/]+\.yaml\Z", name)]

    def _compose(self, name: str) -> Node | None:
        data = self._contents.get(name)
        return compose(data, f"{self._prefix}/{name}", self._found) if data is not None else None

    def _check_files(self) -> None:
        """Name the files that are missing and those that would be passed over."""
        for name in (*SINGLE_FILES, CHANGES):
            if name not in self._contents:
                file = f"{self._prefix}/{name}"
                self._found.add_file("missing-file", file, "The file is missing.", f"Add `{name}`.")
        if not self._in_folder("rules"):
            message = "The folder holds no file of rules."
            self._found.add_file(
                "missing-file", f"{self._prefix}/rules", message, "Add a file such as `topic.yaml`."
            )
        known = {*SINGLE_FILES, *self._in_folder("rules"), *self._in_folder("cases")}
        for name in self._contents.keys() - known:
            if not name.endswith(".md"):
                message = "The file is no part of an edition and would be passed over."
                advice = (
                    "Rules go into `rules/*.yaml`, worked cases into `cases/*.yaml`; take other files out."
                )
                self._found.add_file("unexpected-file", f"{self._prefix}/{name}", message, advice)
        changes = self._contents.get(CHANGES)
        heading = rf"(?m)^#.*(?<![0-9.]){re.escape(self._version)}(?![0-9])"
        if changes is not None and not re.search(heading, changes.decode("utf-8", "replace")):
            message = f"No heading names the version {self._version}."
            advice = f"Add a heading such as `## {self._version}` and say what changed for whom."
            self._found.add_file("changes-not-told", f"{self._prefix}/{CHANGES}", message, advice)

    def _cases(self, names: EditionNames) -> CasesRead:
        read = CasesRead()
        files = []
        for name in self._in_folder("cases"):
            file = f"{self._prefix}/{name}"
            check_marked_invented(self._contents[name], file, self._found)
            files.append(read_starts(self._compose(name), file, names, read, self._found))
        for fields in files:
            read_cases(fields, names, read, self._found)
        return read

    def _check_released(self, head: EditionRead, fingerprint: str, released: Mapping[str, str]) -> None:
        """A released edition is listed with its digest and never edited."""
        edition_id = f"{self._set}-{self._version}"
        file = f"{self._prefix}/edition.yaml"
        listed = released.get(edition_id)
        if listed is None:
            if head.status == "released":
                message = f"The edition says that it is released, but `{edition_id}` is not in released.yaml."
                advice = f"Write `status: draft`, or list it there with the digest {fingerprint}."
                self._found.add_file("released-not-listed", file, message, advice)
        elif listed != fingerprint:
            message = f"`{edition_id}` was changed after its release: its digest is now {fingerprint}."
            advice = "Undo the change; put it into a new edition with a new version."
            self._found.add_file("released-changed", file, message, advice)


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
    )
