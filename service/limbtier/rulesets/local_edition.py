"""Reads an edition that is based on another and lays its changes over it; what comes out is whole."""

from __future__ import annotations

from collections.abc import Mapping

from limbtier.domain.edition import Edition, StartingPoint
from limbtier.rulesets.changes import Changes
from limbtier.rulesets.digest import digest_on_base
from limbtier.rulesets.edition_files import HEAD, EditionFiles, only_remarks
from limbtier.rulesets.findings import Findings
from limbtier.rulesets.names import Names
from limbtier.rulesets.read_cases import CasesRead, check_marked_invented
from limbtier.rulesets.read_local_cases import LocalCases
from limbtier.rulesets.read_local_head import read_local_head
from limbtier.rulesets.read_local_lists import (
    lists_of_base,
    read_local_arrangements,
    read_local_materials,
    read_local_sources,
    read_local_tiers,
    read_local_wording,
)
from limbtier.rulesets.read_local_rules import LocalRules, classified_no_more, merged_rules, read_local_rules
from limbtier.rulesets.read_local_vocabulary import check_choices_tested, read_local_vocabulary
from limbtier.rulesets.read_rules import EditionNames
from limbtier.rulesets.rule_checks import check_rules
from limbtier.rulesets.strata import stratify


def read_local_edition(
    files: EditionFiles, base: Edition, released: Mapping[str, str], found: Findings
) -> Edition | None:
    """The base with the changes of the files made; None when anything was found."""
    files.check((HEAD,))
    changes = Changes(base, files.id, found)
    lists = lists_of_base(changes)
    read_local_tiers(files.tree_if_any("tiers.yaml"), lists, changes, found)
    read_local_sources(files.tree_if_any("sources.yaml"), lists, changes, found)
    read_local_arrangements(files.tree_if_any("arrangements.yaml"), lists, changes, found)
    read_local_materials(files.tree_if_any("materials.yaml"), lists, changes, found)
    read_local_wording(files.tree_if_any("wording.yaml"), lists, changes, found)
    vocabulary = read_local_vocabulary(files.tree_if_any("vocabulary.yaml"), changes, found)
    head = read_local_head(files.tree(HEAD), files.rule_set, files.version, lists.source_ids, changes, found)
    names = EditionNames(
        testable=vocabulary.testable,
        tiers=lists.tier_names,
        lifts=vocabulary.lift_names,
        settings=head.setting_names,
        arrangements=lists.arrangement_names,
        materials=lists.material_names,
        sources=lists.source_ids,
        rules=Names(
            "rule",
            dict.fromkeys(changes.rules, True),
            base=base.id,
            instead="Take another id, or put it under `replace`.",
        ),
    )
    local = LocalRules()
    for name in files.inside("rules"):
        read_local_rules(files.tree_if_any(name), names, local, changes, found)
    rules = merged_rules(local, names, changes)
    files.check_number_of_rules(len(rules))
    check_rules(rules, names, found, classified_no_more(changes))
    plain = [read.rule for read in rules]
    if len(found) == 0:
        check_choices_tested(plain, changes, found)
    cases = _cases(files, names, changes, found)
    fingerprint = digest_on_base(files.contents, base.digest)
    files.check_released(head.status, fingerprint, released)
    strata = stratify(plain, vocabulary.facts)
    if len(found) or isinstance(strata, list) or lists.wording is None:
        return None
    order = sorted(range(len(plain)), key=lambda place: strata[place])
    return Edition(
        name=head.name,
        version=head.version,
        title=head.title,
        status=head.status,
        effective_from=head.effective_from,
        based_on=base.id,
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
        guard_rails=base.guard_rails,
        starting_points=starting_points(cases),
        changes=tuple(sorted(changes.made, key=lambda one: (one.file, one.line, one.column))),
    )


def _cases(files: EditionFiles, names: EditionNames, changes: Changes, found: Findings) -> CasesRead:
    read = LocalCases(names, changes, found)
    fields = []
    for name in files.inside("cases"):
        data = files.contents[name]
        if not only_remarks(data):
            check_marked_invented(data, files.place(name), found)
        fields.append(read.starts(files.tree_if_any(name), files.place(name)))
    for one in fields:
        read.cases(one)
    return read.merged()


def starting_points(cases: CasesRead) -> dict[str, StartingPoint]:
    """The starting points of worked cases, for editions that are based on this one."""
    return {name: StartingPoint(start.person, start.limb) for name, start in cases.starts.known.items()}
