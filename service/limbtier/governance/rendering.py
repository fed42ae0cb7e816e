"""A whole edition for reading: what it is, how it differs from its base, its rules, settings and sources."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from limbtier.domain.edition import (
    Edition,
    Source,
    Tier,
)
from limbtier.domain.interval import SettingReference
from limbtier.domain.rule import GuardRails, Rule
from limbtier.domain.vocabulary import Input, Range
from limbtier.governance.differences import NOTHING, differences
from limbtier.governance.document import (
    Cell,
    Document,
    Inline,
    Items,
    Line,
    Name,
    Paragraph,
    Section,
    Strong,
    Table,
    cell,
    html,
    joined,
    markdown,
)
from limbtier.governance.sentences import Sentences, number_text, setting_values

BASIS: Final = {
    "seen": "seen",
    "memory": "from memory, to be checked",
    "practice": "common practice, no published source",
}


def render_markdown(edition: Edition, guard_rails: GuardRails, bases: Sequence[Edition] = ()) -> str:
    """The edition as Markdown; `bases` are those under it, the nearest first."""
    return markdown(edition_document(edition, guard_rails, bases))


def render_html(edition: Edition, guard_rails: GuardRails, bases: Sequence[Edition] = ()) -> str:
    """The edition as one HTML page without scripts and without anything from elsewhere."""
    return html(edition_document(edition, guard_rails, bases))


def edition_document(edition: Edition, guard_rails: GuardRails, bases: Sequence[Edition] = ()) -> Document:
    """The edition as a document."""
    words = Sentences(edition)
    base_words = Sentences(bases[0]) if bases else words
    sections = [
        *([differences(edition, words, base_words)] if edition.based_on else []),
        _tiers(edition),
        _rules(edition, words),
        _settings(edition),
        _questions(edition, words),
        _arrangements(edition),
        _materials(edition),
        _wording(edition),
        _guard_rails(guard_rails),
        _sources(edition),
        _cases(edition),
    ]
    return Document(edition.title, tuple(_head(edition, guard_rails, bases)), tuple(sections))


def _head(
    edition: Edition, guard_rails: GuardRails, bases: Sequence[Edition]
) -> Iterator[Paragraph | Items | Table]:
    yield Paragraph((Strong("Caution."), " ", edition.wording.caution), notice=True)
    under = [(Name(base.id), ", digest ", Name(base.digest)) for base in bases]
    named: Cell = tuple(under) or ((Name(edition.based_on),) if edition.based_on else ("no other edition",),)
    rows: list[tuple[str, Cell]] = [
        ("Edition", cell((Name(edition.id),))),
        ("Status", cell(edition.status)),
        ("In force from", cell(edition.effective_from.isoformat())),
        ("To be looked at again by", cell(edition.review_by.isoformat())),
        ("Who answers for it", cell(edition.owner)),
        ("Based on", named),
        ("Guard rails", cell((f"version {guard_rails.version}, digest ", Name(guard_rails.digest)))),
        ("Digest of its files", cell((Name(edition.digest),))),
        (
            "It holds",
            cell(
                f"{len(edition.vocabulary.inputs)} questions, {len(edition.rules)} rules, "
                f"{len(edition.sources)} sources, {len(edition.cases)} worked cases"
            ),
        ),
    ]
    yield Table("The edition", ("What", "Which"), tuple((cell(what), which) for what, which in rows))


# ---- the parts of the edition ------------------------------------------------------------------------------


def _tiers(edition: Edition) -> Section:
    rows = tuple(
        (
            ((Strong(tier.title),),),
            cell(tier.meaning),
            cell(tier.intended_pressure),
            cell(_within(tier)) if tier.review_within else NOTHING,
        )
        for tier in edition.tiers
    )
    columns = ("Tier", "What is put on", "Intended pressure", "Look again within")
    return Section("Tiers", "tiers", (Table("Tiers, lowest first", columns, rows),))


def _within(tier: Tier) -> Line:
    within = tier.review_within
    return (Name(within.setting),) if isinstance(within, SettingReference) else (str(within),)


def _rules(edition: Edition, words: Sentences) -> Section:
    topics: dict[str, list[Rule]] = {}
    for rule in edition.rules:
        topics.setdefault(rule.topic, []).append(rule)
    inner = tuple(
        Section(topic, f"rules-{place}", (_rule_table(edition, words, topic, rules),))
        for place, (topic, rules) in enumerate(topics.items(), start=1)
    )
    said = (
        "The order of rules never matters: the lowest limit holds, and the earliest review and the earliest "
        "deadline win. A limit, a review, an avoided material or a caution whose questions are not answered "
        "counts as if it applied."
    )
    return Section("Rules", "rules", (Paragraph((said,)),), inner)


def _rule_table(edition: Edition, words: Sentences, topic: str, rules: Sequence[Rule]) -> Table:
    rows = tuple(_rule(edition, words, rule) for rule in rules)
    return Table(f"Rules: {topic}", ("Rule", "When", "Then", "Why, and on whose word"), rows)


def _rule(edition: Edition, words: Sentences, rule: Rule) -> tuple[Cell, ...]:
    called: Cell = ((Strong(rule.title),), (Name(rule.id),))
    origin = rule.origin
    if origin is not None and origin.act != "given":
        here = "here" if origin.edition == edition.id else f"by {origin.edition}"
        called = (*called, (f"{origin.act} {here}",))
    why: Cell = ((rule.because,), _cited(edition, rule.sources))
    return (called, (words.when(rule.when),), words.then(rule), why)


def _cited(edition: Edition, ids: Sequence[str]) -> Line:
    names: list[Line] = []
    for source_id in ids:
        basis = edition.sources[source_id].basis
        mark: tuple[Inline, ...] = (" (memory)",) if basis == "memory" else ()
        names.append((Name(source_id), *mark))
    return joined(names, ", ")


def _settings(edition: Edition) -> Section:
    rows = tuple(
        (
            ((setting.title,), (Name(setting.name),)),
            setting_values(setting),
            (_cited(edition, setting.sources),),
        )
        for setting in edition.settings.values()
    )
    return Section("Settings", "settings", (Table("Settings", ("Setting", "Value", "Sources"), rows),))


def _questions(edition: Edition, words: Sentences) -> Section:
    groups: dict[str, list[Input]] = {}
    for asked in edition.vocabulary.inputs.values():
        groups.setdefault(asked.group, []).append(asked)
    inner = tuple(
        Section(group, f"questions-{place}", (_question_table(words, group, asked),))
        for place, (group, asked) in enumerate(groups.items(), start=1)
    )
    return Section("Questions", "questions", (), inner)


def _question_table(words: Sentences, group: str, questions: Sequence[Input]) -> Table:
    rows = tuple(
        (
            ((asked.question,), (Name(asked.name),)),
            _answers(asked),
            (words.when(asked.asked_when),) if asked.asked_when else cell("always"),
        )
        for asked in questions
    )
    return Table(f"Questions: {group}", ("Question", "Answers", "Asked when"), rows)


def _answers(asked: Input) -> Cell:
    match asked.kind:
        case "flag":
            found = cell("yes or no")
        case "choice":
            found = tuple((Name(choice.value), f" {choice.meaning}") for choice in asked.choices)
        case "date":
            found = cell("a date")
        case _:
            several = "numbers" if asked.kind == "number_series" else "a number"
            unit = f" in {asked.unit}" if asked.unit else ""
            found = cell(f"{several}{unit}{_span(asked.range)}")
    return (*found, (Name("not_done"),)) if asked.may_be_not_done else found


def _span(edges: Range) -> str:
    low, high = edges.at_least, edges.at_most
    lower = f", at least {number_text(low)}" if low is not None else ""
    return f"{lower}{f', at most {number_text(high)}' if high is not None else ''}"


def _arrangements(edition: Edition) -> Section:
    rows = tuple((cell(entry.title), ((Name(entry.name),),)) for entry in edition.arrangements.values())
    table = Table("What rules may arrange", ("Arrangement", "Name"), rows)
    return Section("Arrangements", "arrangements", (table,))


def _materials(edition: Edition) -> Section:
    rows = tuple(
        (
            ((entry.title,), (Name(entry.name),)),
            cell(entry.kind),
            cell("hardly stretches" if entry.inelastic else "stretches"),
            cell(", ".join(entry.tiers)),
        )
        for entry in edition.materials.values()
    )
    columns = ("Material", "Kind", "Stretch", "Tiers")
    return Section("Materials", "materials", (Table("Kinds of material", columns, rows),))


def _wording(edition: Edition) -> Section:
    wording = edition.wording
    meanings = tuple((cell(name), cell(text)) for name, text in wording.dispositions.items())
    return Section(
        "Words that go with decisions",
        "wording",
        (
            Paragraph((Strong("Safety-net advice with anything that is put on"),)),
            Items(tuple((sentence,) for sentence in wording.safety_net)),
            Table("What a disposition means", ("Disposition", "Meaning"), meanings),
        ),
    )


def _guard_rails(guard_rails: GuardRails) -> Section:
    rows = tuple(((cell(rail.statement)), ((Name(rail.id),),)) for rail in guard_rails.rails)
    said = (
        "These bind every edition and cannot be changed by one. A decision that would break one is not given."
    )
    table = Table("Guard rails", ("What always holds", "Id"), rows)
    return Section("Guard rails", "guard-rails", (Paragraph((said,)), table))


def _sources(edition: Edition) -> Section:
    rows = tuple(_source(source) for source in edition.sources.values())
    columns = ("Source", "Read for", "How it is known", "Looked at on")
    return Section("Sources", "sources", (Table("Sources", columns, rows),))


def _source(source: Source) -> tuple[Cell, ...]:
    return (
        ((source.title,), (Name(source.id),)),
        cell(source.point),
        cell(BASIS[source.basis]),
        cell(source.checked_on.isoformat()),
    )


def _cases(edition: Edition) -> Section:
    by_file: dict[str, int] = {}
    for case in edition.cases:
        by_file[case.file] = by_file.get(case.file, 0) + 1
    rows = tuple((((Name(file),),), cell(str(number))) for file, number in by_file.items())
    said = f"Every check of this edition decides {len(edition.cases)} worked cases, all of invented people."
    blocks: list[Paragraph | Table] = [Paragraph((said,))]
    if rows:
        blocks.append(Table("Worked cases", ("File", "Cases"), rows))
    return Section("Worked cases", "cases", tuple(blocks))
