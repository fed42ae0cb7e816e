"""Wording that names a person, or gives initials."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context
from limbtier.governance.checks.texts import EditionText, texts_of

# A name: a capital letter and others, of any language.
_NAME: Final = r"[A-Z\u00c0-\u00de][^\W\d_]+"
_FORM_OF_ADDRESS: Final = re.compile(
    rf"\b(?:Mr|Mrs|Ms|Miss|Mx|Dr|Prof|Professor|Sister)\.? (?:[A-Z]\.? ?)*{_NAME}"
)
# An initial and a surname after such a word; elsewhere a letter may end a sentence (vitamin A. Then ...).
_INITIAL_AND_NAME: Final = re.compile(
    rf"(?:^|[(]|\b(?i:by|with|from|to|as|ask|and|tell|see) )(?:[A-Z]\. ?)+{_NAME}"
)
_INITIALS: Final = re.compile(r"\b(?:[A-Z]\.){2,}")
_AND_OTHERS: Final = re.compile(rf"\b{_NAME}(?: [A-Z]{{1,3}})? et al\b")
_ABBREVIATION: Final = re.compile(r"(?<![\w-])[A-Z]{2,4}(?![\w-])")
_EMAIL: Final = re.compile(r"[\w.+-]+@[\w-]+\.\w+")
_PEOPLE: Final = (_FORM_OF_ADDRESS, _INITIAL_AND_NAME, _INITIALS, _AND_OTHERS, _EMAIL)

ADVICE: Final = "Name the role, and keep names and initials out of rule files."
ABBREVIATION_ADVICE: Final = (
    "Name the role if these are initials; if it is an abbreviation, add it to `known_words` in `checks.yaml`."
)


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """People by name or initials in any text; abbreviations that are not on the list of known words."""
    known = {word for phrase in context.settings.known_words for word in phrase.split()}
    for text in texts_of(edition):
        for pattern in _PEOPLE:
            if found := pattern.search(text.text):
                yield text.finding(f"`{text.field}` names a person: {found.group().strip()}", ADVICE)
                break
        else:
            yield from _initials(text, known)


def _initials(text: EditionText, known: set[str]) -> Iterator[Finding]:
    if text.kind == "citation":
        return
    for word in dict.fromkeys(_ABBREVIATION.findall(text.text)):
        if word not in known:
            yield text.finding(f"`{text.field}` has `{word}`, which may be initials.", ABBREVIATION_ADVICE)


CHECK: Final = Check(
    id="person-named",
    title="Wording that names a person",
    explanation=Explanation(
        finds="A form of address before a name, an initial with a surname, initials with stops, `et al`, "
        "an address of e-mail, in any text; and two to four capital letters together that are not "
        "among the `known_words` of `checks.yaml`, except in the citations of sources.",
        why="Editions are published and kept for years. They name roles, never people: neither patients "
        "nor staff.",
        mend="Name the role. Put an abbreviation of the trade into `known_words`.",
        example="`Agreed with JS on 3 March` becomes `Agreed with the vascular lead on 3 March`.",
    ),
    severity="error",
    find=find,
)
