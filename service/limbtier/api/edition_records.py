"""What a caller can read about an edition: its vocabulary, its settings, its rules with their sources."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from limbtier.api.request_schema import plain_number
from limbtier.domain.edition import Change, Edition, Setting, Tier
from limbtier.domain.interval import Interval, SettingReference
from limbtier.domain.rule import GuardRail, Rule
from limbtier.domain.vocabulary import Input, Range
from limbtier.engine.prepared import PreparedEdition
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.rule_record import conclusions, condition_record, edition_summary

Record = dict[str, Any]


def edition_list(rules: ReadyRules, active: PreparedEdition | None) -> Record:
    """Every edition, the latest first, and which one decides when a request names none."""
    editions = sorted(
        rules.editions.values(), key=lambda one: (one.edition.effective_from, one.edition.id), reverse=True
    )
    return {
        "active": None if active is None else active.edition.id,
        "editions": [_head(one) for one in editions],
    }


def edition_record(prepared: PreparedEdition, bases: Sequence[Edition] = ()) -> Record:
    """One edition without its rules: what it is, its tiers, settings, and the guard rails that bind it.
    `bases` are those that it is based on, the nearest first."""
    edition = prepared.edition
    return {
        **_head(prepared),
        "based_on": edition.based_on,
        "bases": [base.id for base in bases],
        "changes": [_change(entry) for entry in edition.changes],
        "owner": edition.owner,
        "tiers": [_tier(entry) for entry in edition.tiers],
        "settings": [_setting(entry) for entry in edition.settings.values()],
        "guard_rails": {
            "version": prepared.guard_rails.version,
            "digest": prepared.guard_rails.digest,
            "rails": [_rail(entry) for entry in prepared.guard_rails.rails],
        },
        "counts": {
            "inputs": len(edition.vocabulary.inputs),
            "rules": len(edition.rules),
            "sources": len(edition.sources),
            "worked_cases": len(edition.cases),
        },
    }


def rules_record(prepared: PreparedEdition) -> Record:
    """Every rule of an edition: when it applies, what it concludes, why, and on whose word."""
    edition = prepared.edition
    return {
        "edition": edition_summary(edition, prepared.guard_rails.version),
        "rules": [_rule(edition, entry) for entry in edition.rules],
    }


def vocabulary_record(prepared: PreparedEdition) -> Record:
    """Every question that may be answered, in the order of a form, and what is made of the answers."""
    vocabulary = prepared.edition.vocabulary
    return {
        "edition": edition_summary(prepared.edition, prepared.guard_rails.version),
        "inputs": [_input(entry) for entry in vocabulary.inputs.values()],
        "measures": [asdict(entry) for entry in vocabulary.measures.values()],
        "facts": [asdict(entry) for entry in vocabulary.facts.values()],
        "lifts": [asdict(entry) for entry in vocabulary.lifts.values()],
    }


def _head(prepared: PreparedEdition) -> Record:
    edition = prepared.edition
    return {
        "id": edition.id,
        "title": edition.title,
        "status": edition.status,
        "digest": edition.digest,
        "effective_from": edition.effective_from.isoformat(),
        "review_by": edition.review_by.isoformat(),
    }


def _change(change: Change) -> Record:
    """What was added has no reason where it changes nothing by itself, as a source or a worked case."""
    return {
        "part": change.part,
        "act": change.act,
        "name": change.name,
        "reason": change.reason,
        "decided_by": change.decided_by,
        "file": change.file,
        "line": change.line,
    }


def _origin(edition: Edition, rule: Rule) -> Record:
    """Which edition wrote the rule as it stands, and what that one did."""
    origin = rule.origin
    if origin is None:
        return {"edition": edition.id, "act": "given", "reason": None, "decided_by": None}
    return {
        "edition": origin.edition,
        "act": origin.act,
        "reason": origin.reason,
        "decided_by": origin.decided_by,
    }


def _tier(entry: Tier) -> Record:
    return {
        "name": entry.name,
        "title": entry.title,
        "meaning": entry.meaning,
        "intended_pressure": entry.intended_pressure,
        "compression": entry.compression,
        "review_within": None if entry.review_within is None else _within(entry.review_within),
    }


def _within(within: Interval | SettingReference) -> str:
    return f"setting {within.setting}" if isinstance(within, SettingReference) else str(within)


def _setting(entry: Setting) -> Record:
    return {
        "name": entry.name,
        "title": entry.title,
        "values": [
            {
                "value": str(dated.value) if isinstance(dated.value, Interval) else plain_number(dated.value),
                "from": dated.effective_from.isoformat(),
                "to": None if dated.effective_to is None else dated.effective_to.isoformat(),
            }
            for dated in entry.values
        ],
        "sources": entry.sources,
    }


def _rail(entry: GuardRail) -> Record:
    return {"id": entry.id, "statement": entry.statement, "relation": entry.relation}


def _rule(edition: Edition, rule: Rule) -> Record:
    return {
        "id": rule.id,
        "title": rule.title,
        "topic": rule.topic,
        "when": condition_record(rule.when),
        "concludes": conclusions(rule.then),
        "because": rule.because,
        "origin": _origin(edition, rule),
        "sources": [
            {
                "id": name,
                "title": edition.sources[name].title,
                "basis": edition.sources[name].basis,
                "point": edition.sources[name].point,
                "checked_on": edition.sources[name].checked_on.isoformat(),
            }
            for name in rule.sources
        ],
        "file": rule.file,
        "line": rule.line,
    }


def _input(entry: Input) -> Record:
    return {
        "name": entry.name,
        "scope": entry.scope,
        "kind": entry.kind,
        "group": entry.group,
        "question": entry.question,
        "help": entry.help,
        "unit": entry.unit,
        "choices": [asdict(choice) for choice in entry.choices],
        "may_be_not_done": entry.may_be_not_done,
        "range": _range(entry.range),
        "expected": _range(entry.expected),
        "places": entry.places,
        "asked_when": None if entry.asked_when is None else condition_record(entry.asked_when),
        "danger_sign": entry.danger_sign,
    }


def _range(entry: Range) -> Record:
    return {
        "at_least": None if entry.at_least is None else plain_number(entry.at_least),
        "at_most": None if entry.at_most is None else plain_number(entry.at_most),
    }
