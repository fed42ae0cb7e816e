"""Editions as people read and begin them: a rendering of a whole edition, and the files of a new one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from limbtier.domain.edition import Edition
from limbtier.domain.rule import GuardRails
from limbtier.governance.rendering import render_html, render_markdown
from limbtier.governance.scaffold import new_edition
from limbtier.rulesets.repository import RuleRepository
from limbtier.use_cases.decide import ReadyRules


@dataclass(frozen=True, slots=True)
class EditionInFull:
    """An edition with the guard rails that bind it and the editions under it, the nearest first."""

    edition: Edition
    guard_rails: GuardRails
    bases: tuple[Edition, ...]

    @classmethod
    def of(cls, rules: ReadyRules, edition_id: str) -> EditionInFull:
        """An edition of the rules in use. Raises KeyError."""
        prepared = rules.editions[edition_id]
        bases: list[Edition] = []
        base = prepared.edition.based_on
        while base is not None:
            bases.append(rules.editions[base].edition)
            base = bases[-1].based_on
        return cls(prepared.edition, prepared.guard_rails, tuple(bases))

    def markdown(self) -> str:
        """The whole edition as Markdown."""
        return render_markdown(self.edition, self.guard_rails, self.bases)

    def html(self) -> str:
        """The whole edition as one HTML page."""
        return render_html(self.edition, self.guard_rails, self.bases)


def edition_in_full(rules: Path, edition_id: str) -> EditionInFull:
    """An edition of a rules folder, for reading. Raises InvalidRuleFiles or NotFound."""
    repository = RuleRepository(rules)
    edition = repository.edition(edition_id)
    return EditionInFull(edition, repository.guard_rails(edition_id), tuple(_bases(repository, edition)))


def begin_edition(rules: Path, rule_set: str, version: str, based_on: str, today: date) -> Path:
    """Write the files of a new local edition; returns its folder. Raises InvalidRuleFiles, NotFound, or
    NoNewEdition."""
    return new_edition(rules, RuleRepository(rules).edition(based_on), rule_set, version, today)


def _bases(repository: RuleRepository, edition: Edition) -> Iterator[Edition]:
    while edition.based_on is not None:
        edition = repository.edition(edition.based_on)
        yield edition
