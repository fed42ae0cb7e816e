"""Two editions side by side: every part that was added, changed, set anew or withdrawn, in words.

This compares what is written. What it comes to for every assessment is `proofs.comparison`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

from limbtier.domain.edition import Edition
from limbtier.governance.described_parts import Described, Part, described
from limbtier.governance.document import Cell, cell

Act = Literal["added", "changed", "set anew", "withdrawn"]
# What an edition calls the parts that it says it changes; a choice belongs to its question.
_PART_OF: Final[Mapping[str, Part]] = {
    "rule": "rule",
    "setting": "setting",
    "tier": "tier",
    "input": "question",
    "fact": "named fact",
    "lift": "lift",
    "arrangement": "arrangement",
    "material": "material",
    "wording": "wording",
    "source": "source",
    "case": "worked case",
}


@dataclass(frozen=True, slots=True)
class AspectChange:
    """What one aspect of a part said and says; None where it said or says nothing."""

    aspect: str
    before: Cell | None
    after: Cell | None


@dataclass(frozen=True, slots=True)
class PartChange:
    """One part that differs. `sources` are the ids of those it rests on: the new ones, or, where it was
    withdrawn, the old ones. `reason` and `decided_by`, a role, are those that the new edition gives where it
    is based on the old one, and None elsewhere."""

    part: Part
    act: Act
    name: str
    title: str
    aspects: tuple[AspectChange, ...]
    sources: tuple[str, ...]
    reason: str | None = None
    decided_by: str | None = None


@dataclass(frozen=True, slots=True)
class EditionComparison:
    """Everything in which the text of one edition differs from that of another."""

    before: Edition
    after: Edition
    changes: tuple[PartChange, ...]

    def of(self, part: Part) -> tuple[PartChange, ...]:
        """The changes of one sort of part."""
        return tuple(change for change in self.changes if change.part == part)


def compare_editions(before: Edition, after: Edition) -> EditionComparison:
    """Every difference, part by part in the order in which an edition is read."""
    old, new = described(before), described(after)
    changes = [change for part in new for change in _changes(part, old[part], new[part])]
    if after.based_on == before.id:
        told = {(_PART_OF[one.part], one.name): one for one in after.changes if one.part in _PART_OF}
        changes = [
            replace(change, reason=one.reason, decided_by=one.decided_by)
            if (one := told.get((change.part, change.name)))
            else change
            for change in changes
        ]
    return EditionComparison(before, after, tuple(changes))


def _changes(part: Part, old: Mapping[str, Described], new: Mapping[str, Described]) -> Iterator[PartChange]:
    for name, after in new.items():
        before = old.get(name)
        if before is None:
            aspects = tuple(AspectChange(what, None, one.text) for what, one in after.aspects.items())
            yield PartChange(part, "added", name, after.title, aspects, after.sources)
        elif aspects := tuple(_aspects(before, after)):
            act: Act = "set anew" if part == "setting" else "changed"
            yield PartChange(part, act, name, after.title, aspects, after.sources)
    for name, before in old.items():
        if name not in new:
            aspects = tuple(AspectChange(what, one.text, None) for what, one in before.aspects.items())
            yield PartChange(part, "withdrawn", name, before.title, aspects, before.sources)


def _aspects(before: Described, after: Described) -> Iterator[AspectChange]:
    """The aspects that differ. Where the words are the same, the difference is told as it is held."""
    for what in dict.fromkeys((*before.aspects, *after.aspects)):
        was, now = before.aspects.get(what), after.aspects.get(what)
        if was is None or now is None:
            yield AspectChange(what, was.text if was else None, now.text if now else None)
        elif was.held != now.held:
            words = was.text != now.text
            yield AspectChange(
                what,
                was.text if words else cell(str(was.held)),
                now.text if words else cell(str(now.held)),
            )
