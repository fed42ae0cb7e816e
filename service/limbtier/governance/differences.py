"""How an edition differs from the edition it is based on, with the reason for each change, for reading."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from limbtier.domain.edition import (
    ArrangementWords,
    Change,
    Edition,
    Material,
    Setting,
    Tier,
    Wording,
    WorkedCase,
)
from limbtier.domain.rule import Rule
from limbtier.governance.document import (
    Cell,
    Items,
    Line,
    Name,
    Paragraph,
    Section,
    Strong,
    Table,
    cell,
    joined,
)
from limbtier.governance.sentences import Sentences, setting_values

NOTHING: Final[Cell] = (("-",),)
_PARTS: Final = {
    "rule": "Rule",
    "setting": "Setting",
    "tier": "Tier",
    "input": "Question",
    "choice": "Answer",
    "fact": "Named fact",
    "lift": "What lifts a limit",
    "arrangement": "Arrangement",
    "material": "Material",
    "wording": "Wording",
    "source": "Source",
    "case": "Worked case",
}


def differences(edition: Edition, words: Sentences, base_words: Sentences) -> Section:
    """The changes of an edition in its own words, beside what its base says in the words of the base."""
    changes = [change for change in edition.changes if change.part not in ("case", "source")]
    rows = [_difference(edition, words, base_words, change) for change in changes]
    columns = ("What", "In the base", "Here", "Reason", "Decided by")
    blocks: list[Paragraph | Items | Table] = [
        Paragraph((f"Everything else is as in {edition.based_on}.",)),
        *([Table("What this edition changes", columns, tuple(rows))] if rows else []),
        *_changed_cases(edition),
        *_further(edition),
    ]
    return Section(f"What differs from {edition.based_on}", "differences", tuple(blocks))


def _difference(
    edition: Edition, words: Sentences, base_words: Sentences, change: Change
) -> tuple[Cell, ...]:
    return (
        ((Strong(f"{_PARTS[change.part]} {change.act}"),), (Name(change.name),)),
        _part_before(base_words, change),
        _part_here(edition, words, change),
        cell(change.reason) if change.reason else NOTHING,
        cell(change.decided_by) if change.decided_by else NOTHING,
    )


def _part_before(words: Sentences, change: Change) -> Cell:
    match change.before:
        case None | Wording():
            return NOTHING
        case Rule() as rule:
            return _rule_lines(words, rule)
        case before:
            return _plain_part(before)


def _part_here(edition: Edition, words: Sentences, change: Change) -> Cell:
    if change.act == "withdrawn":
        return cell("withdrawn")
    name = change.name
    match change.part:
        case "rule":
            return _rule_lines(words, next(rule for rule in edition.rules if rule.id == name))
        case "setting":
            return _plain_part(edition.settings[name])
        case "tier":
            return _plain_part(next(tier for tier in edition.tiers if tier.name == name))
        case "arrangement":
            return _plain_part(edition.arrangements[name])
        case "material":
            return _plain_part(edition.materials[name])
        case "input":
            return cell(edition.vocabulary.inputs[name].question)
        case "choice":
            return _choice(edition, name)
        case "fact":
            return cell(edition.vocabulary.facts[name].title)
        case "lift":
            return cell(edition.vocabulary.lifts[name].title)
        case "wording":
            return _added_wording(edition, change)
        case _:
            return NOTHING


def _rule_lines(words: Sentences, rule: Rule) -> Cell:
    when: Line = (Strong("When"), " ", *words.when(rule.when), ":")
    return ((rule.title,), when, *words.then(rule))


def _plain_part(part: Setting | Tier | ArrangementWords | Material | WorkedCase) -> Cell:
    match part:
        case Setting():
            return setting_values(part)
        case Tier():
            within = (f"Look again within {part.review_within}.",) if part.review_within else ()
            return cell(part.meaning, f"Pressure: {part.intended_pressure}.", *within)
        case Material():
            return cell(part.title, f"{part.kind}, at {', '.join(part.tiers)}")
        case ArrangementWords():
            return cell(part.title)
        case WorkedCase():
            return cell(part.story)


def _choice(edition: Edition, name: str) -> Cell:
    asked, _, value = name.partition(" ")
    choice = next(one for one in edition.vocabulary.inputs[asked].choices if one.value == value)
    counted = f" It counts as {choice.counts_as} for guard rails." if choice.counts_as else ""
    return cell(f"{choice.meaning}{counted}")


def _added_wording(edition: Edition, change: Change) -> Cell:
    """The sentences that follow those of the base."""
    before = change.before
    if not isinstance(before, Wording):
        return NOTHING
    if change.name == "caution":
        return cell(edition.wording.caution.removeprefix(before.caution).strip())
    return cell(*edition.wording.safety_net[len(before.safety_net) :])


def _further(edition: Edition) -> Iterator[Paragraph]:
    """What is added and changes nothing by itself."""
    counted = [
        f"{number} {words}"
        for part, words in (("source", "sources"), ("case", "worked cases"))
        if (number := sum(1 for one in edition.changes if one.part == part and one.act == "added"))
    ]
    if counted:
        yield Paragraph((f"It also adds {' and '.join(counted)}.",))


def _changed_cases(edition: Edition) -> Iterator[Paragraph | Items]:
    """Worked cases that come out differently, those with one reason together."""
    by_reason: dict[tuple[str, str | None, str | None], list[str]] = {}
    for change in edition.changes:
        if change.part == "case" and change.act != "added":
            key = (change.act, change.reason, change.decided_by)
            by_reason.setdefault(key, []).append(change.name)
    if by_reason:
        yield Paragraph(("Worked cases of the base that come out differently or say nothing here:",))
        yield Items(
            tuple(
                (
                    Strong(f"{act.capitalize()}."),
                    f" {reason} Decided by: {decided_by}. ",
                    *joined(((Name(name),) for name in names), ", "),
                )
                for (act, reason, decided_by), names in by_reason.items()
            )
        )
