"""Compares two editions of a rules folder: what is written, and, if asked, what is decided for everybody."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import orjson

from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean
from limbtier.foundation.errors import NotFound
from limbtier.governance.comparison import EditionComparison, compare_editions
from limbtier.governance.comparison_text import comparison_document, comparison_record, comparison_text
from limbtier.governance.document import html, markdown
from limbtier.use_cases.decide import ReadyRules

if TYPE_CHECKING:
    from limbtier.governance.proofs.comparison import Comparison as Behaviour
    from limbtier.governance.proofs.comparison import Region


@dataclass(frozen=True, slots=True)
class Compared:
    """Both comparisons; the second is None where it was not asked for."""

    written: EditionComparison
    decided: Behaviour | None


def compare(
    rules: ReadyRules,
    before: str,
    after: str,
    *,
    behaviour: bool = False,
    progress: Callable[[Region], None] = lambda _region: None,
) -> Compared:
    """Two editions by their ids. Raises NotFound, and UnsupportedConstruct where the behaviour of an edition
    has no formula. `progress` is told each difference of behaviour as it is found."""
    old, new = edition_named(rules, before), edition_named(rules, after)
    decided = None
    if behaviour:
        # The solver is large, and is loaded only where it is asked.
        from limbtier.governance.proofs.comparison import compare as compare_behaviour  # noqa: PLC0415

        decided = compare_behaviour(old, new, rules.calendars, progress)
    return Compared(compare_editions(old.edition, new.edition), decided)


def edition_named(rules: ReadyRules, name: str) -> PreparedEdition:
    """An edition by its id. Raises NotFound, naming the closest."""
    if name in rules.editions:
        return rules.editions[name]
    shown = name[:60] if name.isprintable() else "?"
    known = ", ".join(f"`{one}`" for one in sorted(rules.editions))
    advice = did_you_mean(shown, rules.editions, f"Known here: {known}.")
    raise NotFound([Diagnostic("unknown-edition", f"There is no edition `{shown}`.", advice)])


FORMS: Final[Mapping[str, Callable[[EditionComparison, Behaviour | None], str]]] = {
    "text": comparison_text,
    "json": lambda *both: (
        orjson.dumps(comparison_record(*both), option=orjson.OPT_INDENT_2, default=float).decode() + "\n"
    ),
    "markdown": lambda *both: markdown(comparison_document(*both)),
    "html": lambda *both: html(comparison_document(*both)),
}
"""The forms in which a comparison can be shown."""


def show(compared: Compared, form: str) -> str:
    """The comparison in one of FORMS."""
    return FORMS[form](compared.written, compared.decided)
