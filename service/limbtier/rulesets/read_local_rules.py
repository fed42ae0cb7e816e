"""Reads `rules/*.yaml` of an edition that is based on another: rules added, replaced and withdrawn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from limbtier.domain.rule import Origin, Rule
from limbtier.rulesets.changes import WHY, Changes
from limbtier.rulesets.findings import Findings, Place, Placed
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.read_rules import ID, RULE, TOPIC, EditionNames, RuleRead, read_rule
from limbtier.rulesets.records import Fields, Key, ListOf, Record
from limbtier.rulesets.shapes import Identifier

LOCAL_RULE: Final = Record("a rule", (*RULE.keys, *WHY))
WITHDRAWN_ID: Final = Key("id", Identifier, "the id of a rule of the base", required=True)
WITHDRAWAL: Final = Record("a withdrawal", (WITHDRAWN_ID, *WHY))
RULES: Final = Key("rules", ListOf(LOCAL_RULE), "further rules")
REPLACE: Final = Key("replace", ListOf(LOCAL_RULE), "rules of the base, each given anew as a whole")
WITHDRAW: Final = Key("withdraw", ListOf(WITHDRAWAL), "rules of the base that do not hold here")
LOCAL_RULES_FILE: Final = Record("the file", (TOPIC, RULES, REPLACE, WITHDRAW))


@dataclass(slots=True)
class LocalRules:
    """What the files say: rules added, those that stand in the place of one of the base, ids withdrawn."""

    added: list[RuleRead] = field(default_factory=list)
    replaced: dict[str, RuleRead] = field(default_factory=dict)
    withdrawn: set[str] = field(default_factory=set)


def read_local_rules(
    root: Node | None, names: EditionNames, read: LocalRules, changes: Changes, found: Findings
) -> None:
    """What one file adds, replaces and withdraws."""
    if root is None:
        return
    fields = LOCAL_RULES_FILE.read(root, "The file", found)
    if fields is None:
        names.rules.complete = False
        return
    if not (fields.wrote(RULES) or fields.wrote(REPLACE) or fields.wrote(WITHDRAW)) and fields.whole:
        advice = "Take it away, or give `rules`, `replace` or `withdraw`."
        found.add("changes-nothing", fields.place, "The file changes nothing.", advice)
    topic = fields.get(TOPIC)
    called = topic.value if topic else ""
    added, replaced, withdrawn = fields.get(RULES), fields.get(REPLACE), fields.get(WITHDRAW)
    lost = (fields.wrote(RULES) and added is None) or (added is not None and added.lost)
    names.rules.complete = names.rules.complete and not lost
    for entry in added.value if added else ():
        _add(entry, called, names, read, changes, found)
    for entry in replaced.value if replaced else ():
        _replace(entry, called, names, read, changes, found)
    for entry in withdrawn.value if withdrawn else ():
        rule_id = entry.get(WITHDRAWN_ID)
        if rule_id and names.rules.of_base(rule_id, found):
            before = changes.rules[rule_id.value]
            if changes.change("rule", "withdrawn", rule_id, entry, before):
                read.withdrawn.add(rule_id.value)


def _add(
    entry: Fields, topic: str, names: EditionNames, read: LocalRules, changes: Changes, found: Findings
) -> None:
    rule = read_rule(entry, topic, names, found)
    if rule is None:
        names.rules.complete = False
        return
    rule_id = Placed(rule.rule.id, rule.place)
    if names.rules.give(rule_id, True, found, "duplicate-id"):
        changes.added("rule", rule_id, entry)
        read.added.append(_written(rule, changes.origin("added", entry)))


def _replace(
    entry: Fields, topic: str, names: EditionNames, read: LocalRules, changes: Changes, found: Findings
) -> None:
    rule = read_rule(entry, topic, names, found)
    rule_id = entry.get(ID)
    if rule is None or rule_id is None or not names.rules.of_base(rule_id, found):
        return
    before = changes.rules[rule_id.value]
    if not changes.change("rule", "replaced", rule_id, entry, before):
        return
    read.replaced[rule_id.value] = _written(rule, changes.origin("replaced", entry))
    if entry.whole and _content(rule.rule) == _content(before):
        changes.refuse_same(f"rule `{rule_id.value}`", rule_id.place)


def _written(read: RuleRead, origin: Origin) -> RuleRead:
    return replace(read, rule=replace(read.rule, origin=origin))


def _content(rule: Rule) -> Rule:
    """A rule without where it stands."""
    return replace(rule, file="", line=0, origin=None)


def merged_rules(read: LocalRules, names: EditionNames, changes: Changes) -> list[RuleRead]:
    """The rules of the base, those replaced in their places, and then those added. A rule that was withdrawn
    has no name any more."""
    rules = []
    for rule in changes.base.rules:
        if rule.id in read.withdrawn:
            names.rules.known.pop(rule.id, None)
        else:
            rules.append(read.replaced.get(rule.id) or _taken_over(rule, changes))
    return [*rules, *read.added]


def _taken_over(rule: Rule, changes: Changes) -> RuleRead:
    place = Place(rule.file, rule.line, 1)
    origin = rule.origin or Origin(changes.base.id, "given")
    return RuleRead(
        rule=replace(rule, origin=origin),
        place=place,
        until=place,
        classify=dict.fromkeys(rule.then.classify, place),
        when_sound=True,
        classify_sound=True,
        arranges=bool(rule.then.arrange),
        of_base=True,
    )


def classified_no_more(changes: Changes) -> Mapping[str, Place]:
    """Facts with the place at which a rule of the base that classified them is replaced or withdrawn."""
    found: dict[str, Place] = {}
    for rule in changes.base.rules:
        place = changes.place_of("rule", rule.id)
        if place is not None:
            found.update(dict.fromkeys(rule.then.classify, place))
    return found
