"""The comparison of two editions for reading: as data, for a terminal, or as a document."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final

from limbtier.domain.edition import Edition
from limbtier.governance.comparison import EditionComparison, PartChange
from limbtier.governance.document import (
    Cell,
    Document,
    Inline,
    Name,
    Paragraph,
    Section,
    Table,
    cell,
)

if TYPE_CHECKING:
    from limbtier.governance.proofs.comparison import Comparison as Behaviour
    from limbtier.governance.proofs.comparison import Region

_NONE: Final = "-"
_SAFER: Final = {"more cautious": "safer", "less cautious": "less cautious", "neither": "neither"}


def comparison_record(comparison: EditionComparison, behaviour: Behaviour | None = None) -> dict[str, Any]:
    """Everything, as JSON-able data. `behaviour` is null where it was not asked for."""
    return {
        "before": _edition(comparison.before),
        "after": _edition(comparison.after),
        "changes": [
            {
                "part": change.part,
                "act": change.act,
                "name": change.name,
                "title": change.title,
                "aspects": [
                    {"aspect": one.aspect, "before": _texts(one.before), "after": _texts(one.after)}
                    for one in change.aspects
                ],
                "sources": change.sources,
                "reason": change.reason,
                "decided_by": change.decided_by,
            }
            for change in comparison.changes
        ],
        "behaviour": None if behaviour is None else _behaviour(behaviour),
    }


def _edition(edition: Edition) -> dict[str, str]:
    return {"id": edition.id, "digest": edition.digest, "status": edition.status, "title": edition.title}


def _texts(text: Cell | None) -> list[str] | None:
    return None if text is None else [_plain(line) for line in text]


def _plain(line: tuple[Inline, ...]) -> str:
    return "".join(part if isinstance(part, str) else part.text for part in line)


def _behaviour(behaviour: Behaviour) -> dict[str, Any]:
    return {
        "equivalent": behaviour.equivalent,
        "complete": not (behaviour.incomplete or behaviour.more),
        "incomplete_because": behaviour.incomplete or None,
        "changes_not_told_in_full": behaviour.more,
        "questions_that_differ": behaviour.unlike_inputs,
        "differences": [
            {
                "change": region.change,
                "direction": _SAFER[region.direction],
                "whenever": region.conditions,
                "example": {
                    "request": region.request,
                    "in_words": region.words,
                    "before": region.before,
                    "after": region.after,
                },
            }
            for region in behaviour.regions
        ],
    }


# ---- for a terminal ----------------------------------------------------------------------------------------


def comparison_text(comparison: EditionComparison, behaviour: Behaviour | None = None) -> str:
    """The comparison as plain lines."""
    return "\n".join(_lines(comparison, behaviour)) + "\n"


def _lines(comparison: EditionComparison, behaviour: Behaviour | None) -> Iterator[str]:
    yield _title(comparison)
    yield summary(comparison)
    for change in comparison.changes:
        yield ""
        yield f"{change.part} {change.act}: {change.name} ({change.title})"
        for one in change.aspects:
            yield f"  {one.aspect}"
            before, after = one.before or (), one.after or ()
            yield from (f"    was: {_plain(line)}" for line in before if line not in after)
            yield from (f"    is:  {_plain(line)}" for line in after if line not in before)
            if set(before) == set(after):
                yield "    the same lines in another order"
        if change.reason:
            yield f"  reason: {change.reason} ({change.decided_by})"
    if behaviour is not None:
        yield ""
        yield from behaviour_sentences(behaviour)
        for place, region in enumerate(behaviour.regions, start=1):
            yield ""
            yield f"{place}. {region.change} ({_SAFER[region.direction]}), whenever"
            yield from (f"   - {condition}" for condition in region.conditions or ("always",))
            yield "   for example:"
            yield from (f"     {words}" for words in region.words)
            yield from (f"   before: {words}" for words in region.before)
            yield from (f"   after:  {words}" for words in region.after)


def _title(comparison: EditionComparison) -> str:
    return f"{comparison.before.id} compared with {comparison.after.id}"


def summary(comparison: EditionComparison) -> str:
    """How many parts of each sort differ, in one sentence."""
    counted: dict[str, int] = {}
    for change in comparison.changes:
        key = f"{change.part} {change.act}"
        counted[key] = counted.get(key, 0) + 1
    if not counted:
        return "Nothing that is written differs."
    return "; ".join(f"{what}: {count}" for what, count in counted.items()) + "."


def behaviour_sentences(behaviour: Behaviour) -> Iterator[str]:
    """What is shown about every assessment, and what is not."""
    counts = dict.fromkeys(_SAFER.values(), 0)
    for region in behaviour.regions:
        counts[_SAFER[region.direction]] += 1
    if behaviour.equivalent:
        yield "Proved: both decide every assessment alike."
    else:
        yield (
            f"Assessments that the two decide differently, in {_counted(len(behaviour.regions), 'way')}: "
            f"{counts['safer']} safer, {counts['less cautious']} less cautious, {counts['neither']} neither."
        )
        if behaviour.incomplete:
            yield f"There may be more: {behaviour.incomplete}."
        if behaviour.more:
            yield (
                "For these changes some conditions are named, and others lead to them, too: "
                + ", ".join(behaviour.more)
                + "."
            )
        if not behaviour.incomplete:
            yield (
                "Proved complete: nothing else is decided differently."
                if behaviour.more
                else "Proved complete: no other assessment is decided differently."
            )
    if behaviour.unlike_inputs:
        yield (
            "Questions that the two ask differently: "
            + ", ".join(behaviour.unlike_inputs)
            + ". Only assessments that both take are compared, each given the answers that it knows."
        )


def _counted(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


# ---- as a document -----------------------------------------------------------------------------------------


def comparison_document(comparison: EditionComparison, behaviour: Behaviour | None = None) -> Document:
    """The comparison as a document."""
    sections = [_written(comparison)]
    if behaviour is not None:
        sections.append(_decided(behaviour))
    rows = tuple(
        (cell(what), ((Name(one.id), ", digest ", Name(one.digest)),), cell(one.status))
        for what, one in (("Before", comparison.before), ("After", comparison.after))
    )
    return Document(
        _title(comparison),
        (Table("Editions", ("Which", "Edition", "Status"), rows), Paragraph((summary(comparison),))),
        tuple(sections),
    )


def _written(comparison: EditionComparison) -> Section:
    inner = tuple(
        Section(
            f"{change.part} {change.act}: {change.name}".capitalize(),
            f"change-{place}",
            (_table(change),),
        )
        for place, change in enumerate(comparison.changes, start=1)
    )
    return Section("What is written differently", "written", (), inner)


def _table(change: PartChange) -> Table:
    rows = tuple(
        (cell(one.aspect), one.before or cell(_NONE), one.after or cell(_NONE)) for one in change.aspects
    )
    if change.reason:
        rows = (*rows, (cell("reason"), cell(_NONE), cell(f"{change.reason} ({change.decided_by})")))
    return Table(change.title, ("What", "Before", "After"), rows)


def _decided(behaviour: Behaviour) -> Section:
    said = tuple(Paragraph((sentence,)) for sentence in behaviour_sentences(behaviour))
    inner = tuple(_region(place, region) for place, region in enumerate(behaviour.regions, start=1))
    return Section("What is decided differently", "decided", said, inner)


def _region(place: int, region: Region) -> Section:
    rows = (
        (cell("Direction"), cell(_SAFER[region.direction])),
        (cell("Whenever"), cell(*(region.conditions or ("always",)))),
        (cell("For example"), cell(*region.words)),
        (cell("Before"), cell(*region.before)),
        (cell("After"), cell(*region.after)),
    )
    return Section(
        f"{place}. {region.change}",
        f"difference-{place}",
        (Table(region.change, ("What", "Text"), rows),),
    )
