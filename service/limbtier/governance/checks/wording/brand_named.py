"""Wording that names a brand."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context
from limbtier.governance.checks.texts import texts_of

# Registered, trade and service mark, as signs and as they are typed.
_MARK: Final = re.compile(r"\w*\s?(?:[\u00ae\u2122\u2120]|\((?:R|TM|SM)\))")
# A word begins a sentence after these, so that a capital letter there says nothing.
_OPENS: Final = re.compile(r"(?:^|[.!?:;]['\"\u201d\u2019)]?\s+|['\"\u201c\u2018(]\s*)\Z")
# A word with a capital letter: the first letter, or one inside.
_CAPITAL: Final = re.compile(r"(?<![\w'\u2019-])(?=[\w'\u2019-]*[A-Z])[\w'\u2019-]+")
_ABBREVIATION: Final = re.compile(r"[A-Z]{2,4}s?\Z")
_NONE: Final = re.compile(r"(?!)")
# Units and symbols that are written with a capital letter inside.
_SYMBOLS: Final = frozenset({"mmHg", "kPa", "pH", "I"})

ADVICE: Final = (
    "Name the kind of thing, not the product. If it is no brand, add it to `known_words` in `checks.yaml`."
)


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Trade marks in any text; capital letters inside a sentence that are not on the list of known words."""
    # An edition may call its own organisation by name, as its rule set is called.
    own = edition.name.replace("_", " ").title().split()
    known = _known((*context.settings.known_words, *own))
    for text in texts_of(edition):
        if mark := _MARK.search(text.text):
            yield text.finding(f"`{text.field}` bears a trade mark: {mark.group().strip()}", ADVICE)
        elif text.kind != "citation":
            for word in _unknown(text.text, known):
                yield text.finding(f"`{text.field}` names `{word}`, which may be a brand.", ADVICE)


def _known(phrases: Iterable[str]) -> re.Pattern[str]:
    """Finds known words, the longest first, as whole words, also with an apostrophe and s."""
    longest_first = sorted(map(re.escape, phrases), key=len, reverse=True)
    return (
        re.compile(rf"(?<![\w-])(?:{'|'.join(longest_first)})(?:['\u2019]s)?(?!\w)")
        if longest_first
        else _NONE
    )


def _unknown(text: str, known: re.Pattern[str]) -> Iterator[str]:
    """Words with a capital letter that neither begin a sentence nor are known, each once."""
    rest = known.sub(lambda found: "_" * len(found[0]), text)
    told: set[str] = set()
    for found in _CAPITAL.finditer(rest):
        word = found.group().strip("'\u2019-")
        opens = _OPENS.search(rest[: found.start()]) is not None
        plain = (word[:1].isupper() and word[1:].islower()) or len(word) == 1
        if word in _SYMBOLS or _ABBREVIATION.match(word) or (opens and plain) or word in told:
            continue
        told.add(word)
        yield word


CHECK: Final = Check(
    id="brand-named",
    title="Wording that names a brand",
    explanation=Explanation(
        finds="A trade-mark sign in any text; and, in texts other than the citations of sources, a word "
        "with a capital letter that does not begin a sentence and is not among the `known_words` of "
        "`checks.yaml`. Two to four capital letters are judged by `person-named`. A brand written in small "
        "letters is not found.",
        why="A rule set that names products recommends them, and is out of date when a supplier changes.",
        mend="Name the kind of material and its strength. A place, a discoverer or a scale that the "
        "trade names with a capital letter goes into `known_words`.",
        example="`Use two layers of Examplewrap.` becomes `Use an adjustable wrap.`",
    ),
    severity="warning",
    find=find,
)
