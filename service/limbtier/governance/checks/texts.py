"""Every text of an edition that people read, with what it belongs to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from limbtier.domain.edition import Edition
from limbtier.domain.rule import Rule
from limbtier.governance.checks.check import Finding
from limbtier.rulesets.read_checks import FoundPart

# A title or a choice is a few words, a sentence stands for itself, a citation names publications.
Kind = Literal["title", "sentence", "reason", "citation", "story"]


@dataclass(frozen=True, slots=True)
class EditionText:
    """One text and the part of the edition it belongs to; `field` is the key it stands under."""

    part: FoundPart
    name: str
    field: str
    kind: Kind
    text: str
    file: str | None = None
    line: int | None = None

    def finding(self, message: str, advice: str) -> Finding:
        """A finding about the part that the text belongs to."""
        return Finding(self.part, self.name, message, advice, self.file, self.line)


def texts_of(edition: Edition) -> Iterator[EditionText]:
    """Every text, file by file."""
    yield EditionText("edition", edition.id, "title", "title", edition.title)
    yield EditionText("edition", edition.id, "owner", "title", edition.owner)
    for setting in edition.settings.values():
        yield EditionText("setting", setting.name, "title", "title", setting.title)
    yield from _vocabulary(edition)
    for tier in edition.tiers:
        yield EditionText("tier", tier.name, "title", "title", tier.title)
        yield EditionText("tier", tier.name, "meaning", "sentence", tier.meaning)
        yield EditionText("tier", tier.name, "intended_pressure", "title", tier.intended_pressure)
    for arrangement in edition.arrangements.values():
        yield EditionText("arrangement", arrangement.name, "title", "title", arrangement.title)
    for material in edition.materials.values():
        yield EditionText("material", material.name, "title", "title", material.title)
    for source in edition.sources.values():
        yield EditionText("source", source.id, "title", "citation", source.title)
        yield EditionText("source", source.id, "point", "citation", source.point)
    yield from _wording(edition)
    for rule in edition.rules:
        yield from texts_of_rule(rule)
    for case in edition.cases:
        yield EditionText("case", case.id, "story", "story", case.story, case.file, case.line)


def texts_of_rule(rule: Rule) -> Iterator[EditionText]:
    """The texts of one rule: its title, its reason, what it cautions and instructs."""

    def text(field: str, kind: Kind, words: str) -> EditionText:
        return EditionText("rule", rule.id, field, kind, words, rule.file, rule.line)

    yield text("title", "title", rule.title)
    yield text("because", "reason", rule.because)
    for field, sentences in (("caution", rule.then.caution), ("instruct", rule.then.instruct)):
        for words in sentences:
            yield text(field, "sentence", words)


def _vocabulary(edition: Edition) -> Iterator[EditionText]:
    vocabulary = edition.vocabulary
    for entry in vocabulary.inputs.values():
        yield EditionText("input", entry.name, "question", "sentence", entry.question)
        yield EditionText("input", entry.name, "group", "title", entry.group)
        if entry.help:
            yield EditionText("input", entry.name, "help", "sentence", entry.help)
        for choice in entry.choices:
            yield EditionText("input", entry.name, f"choice {choice.value}", "title", choice.meaning)
    for measure in vocabulary.measures.values():
        yield EditionText("edition", edition.id, f"measure {measure.name}", "title", measure.title)
    for fact in vocabulary.facts.values():
        yield EditionText("fact", fact.name, "title", "title", fact.title)
    for lift in vocabulary.lifts.values():
        yield EditionText("lift", lift.name, "title", "title", lift.title)


def _wording(edition: Edition) -> Iterator[EditionText]:
    wording = edition.wording
    single: Mapping[str, str] = {
        "caution": wording.caution,
        "other_leg_waits": wording.other_leg_waits,
        "no_working_day": wording.no_working_day,
        "pressure_estimate": wording.pressure_estimate,
        "provisional": wording.provisional,
    }
    for name, words in single.items():
        yield EditionText("wording", name, name, "sentence", words)
    for words in wording.safety_net:
        yield EditionText("wording", "safety_net", "safety_net", "sentence", words)
    for name, words in wording.dispositions.items():
        yield EditionText("disposition", name, name, "sentence", words)
