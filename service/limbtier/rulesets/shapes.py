"""Shapes of single values in rule files: each reads a node, names what is wrong, and has a schema.

`read` returns None when the value was refused and named; nobody says more about it.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any, Final, Protocol, TypeVar

from limbtier.domain.interval import Interval
from limbtier.foundation.diagnostics import did_you_mean
from limbtier.rulesets import intervals
from limbtier.rulesets.findings import Findings, Placed
from limbtier.rulesets.nodes import BrokenNode, ListNode, Node, ScalarNode, shown

T_co = TypeVar("T_co", covariant=True)
Schema = dict[str, Any]

NAME: Final = r"^[a-z][a-z0-9_]*$"
IDENTIFIER: Final = r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$"
VERSION: Final = r"^(0|[1-9][0-9]*)\.(0|[1-9][0-9]*)\.(0|[1-9][0-9]*)$"
EDITION_VERSION: Final = r"^[0-9]{4}\.(0|[1-9][0-9]{0,3})\.(0|[1-9][0-9]{0,3})$"
NUMBER: Final = r"^-?(0|[1-9][0-9]*)(\.[0-9]+)?$"
DATE: Final = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$"
RESERVED: Final = ("not_done", "not_asked", "not_recorded")
LONGEST_NUMBER: Final = 18
LONGEST_NAME: Final = 80
_MEANT: Final = {
    **dict.fromkeys(("true", "on", "y", "1"), "yes"),
    **dict.fromkeys(("false", "off", "n", "0"), "no"),
}


class Shape(Protocol[T_co]):
    """How one value is written."""

    def read(self, node: Node, label: str, found: Findings) -> T_co | None:
        """The value, or None when it was refused. `label` says in messages what is read."""

    def schema(self) -> Schema:
        """The same as draft-07 JSON schema, for editors."""


def wrong_shape(node: Node, label: str, wanted: str, found: Findings) -> None:
    """Name a node of the wrong sort, unless it was named already."""
    match node:
        case BrokenNode():
            return
        case ScalarNode() if node.empty:
            found.add("missing-value", node.place, f"{label} has no value.", f"Write {wanted} there.")
            return
        case ScalarNode():
            stands = f"the text `{shown(node.text)}`"
        case ListNode():
            stands = "a list"
        case _:
            stands = "a mapping"
    found.add("wrong-shape", node.place, f"{label} is {stands}.", f"Write {wanted}.")


def scalar(node: Node, label: str, wanted: str, found: Findings) -> ScalarNode | None:
    """The node when it is a piece of text that is not empty."""
    if isinstance(node, ScalarNode) and not node.empty:
        return node
    wrong_shape(node, label, wanted, found)
    return None


@dataclass(frozen=True, slots=True)
class Text:
    """Sentences; line ends inside them count as blanks."""

    def read(self, node: Node, label: str, found: Findings) -> Placed[str] | None:
        """The text without blanks around it."""
        read = scalar(node, label, "a text", found)
        return Placed(" ".join(read.text.split()), read.place) if read else None

    def schema(self) -> Schema:
        """Any text that is not empty."""
        return {"type": "string", "minLength": 1}


# What only a person has: a form of address before a name, an initial and a surname alone, an address.
_PERSON: Final = re.compile(r"\b(?:Mr|Mrs|Ms|Miss|Mx|Dr|Prof)\.? [A-Z]|^[A-Z]\. [A-Z][a-z'-]+$|@")


@dataclass(frozen=True, slots=True)
class Role:
    """The name of a role, not of a person. Only what no role is called is refused: most names of people
    cannot be told from names of roles."""

    def read(self, node: Node, label: str, found: Findings) -> Placed[str] | None:
        """The text without blanks around it."""
        read = Text().read(node, label, found)
        if read is None or not _PERSON.search(read.value):
            return read
        message = f"{label} is `{shown(read.value)}`, which looks like a person."
        found.add("not-a-role", read.place, message, "Name the role, such as `tissue viability lead`.")
        return None

    def schema(self) -> Schema:
        """Any text that is not empty."""
        return Text().schema()


@dataclass(frozen=True, slots=True)
class Word:
    """A name or id of a fixed form. `reserved` words are refused where names are given."""

    pattern: str
    code: str
    how_to: str
    reserved: tuple[str, ...] = ()

    def read(self, node: Node, label: str, found: Findings) -> Placed[str] | None:
        """The word as written."""
        read = scalar(node, label, "one word", found)
        if read is None:
            return None
        if len(read.text) > LONGEST_NAME or not re.match(self.pattern.removesuffix("$") + r"\Z", read.text):
            found.add(self.code, read.place, f"{label} is `{shown(read.text)}`.", self._how_to(read.text))
            return None
        if read.text in self.reserved:
            found.add(
                "reserved-word",
                read.place,
                f"`{read.text}` is a reserved word.",
                "Take another word; an input that may be not done says `may_be_not_done: yes`.",
            )
            return None
        return Placed(read.text, read.place)

    def _how_to(self, text: str) -> str:
        """What to write; a letter that only looks like a plain one is named first."""
        return f"{odd_letter(text)}{self.how_to}"

    def schema(self) -> Schema:
        """The pattern."""
        return {"type": "string", "pattern": self.pattern}


def odd_letter(text: str) -> str:
    """A sentence that names the first character no plain word has, which may look like one that it has."""
    odd = next((letter for letter in text[:LONGEST_NAME] if not letter.isascii()), None)
    if odd is None:
        return ""
    return f"It holds U+{ord(odd):04X}, {unicodedata.name(odd, 'which has no name').lower()}. "


NAME_HOW_TO: Final = "Write a name in small letters, digits and _, beginning with a letter."
Name: Final = Word(NAME, "bad-name", NAME_HOW_TO, RESERVED)
NameUsed: Final = Word(NAME, "bad-name", NAME_HOW_TO)
ChoiceValue: Final = Word(
    r"^[a-z0-9][a-z0-9_]*$", "bad-name", "Write the choice in small letters, digits and _.", RESERVED
)
Identifier: Final = Word(
    IDENTIFIER, "bad-id", "Write an id in small letters, digits and single -, beginning with a letter."
)
Version: Final = Word(VERSION, "bad-version", "Write three numbers with points, such as 1.0.0.")
EditionId: Final = Word(
    r"^[a-z][a-z0-9_]*-(0|[1-9][0-9]*)(\.(0|[1-9][0-9]*)){2}$",
    "bad-id",
    "Write set and version, such as core-2026.1.0.",
)
EditionVersion: Final = Word(EDITION_VERSION, "bad-version", "Write year and two numbers, such as 2026.1.0.")


@dataclass(frozen=True, slots=True)
class YesNo:
    """A flag, written `yes` or `no`."""

    def read(self, node: Node, label: str, found: Findings) -> Placed[bool] | None:
        """True for yes."""
        read = scalar(node, label, "`yes` or `no`", found)
        if read is None or not check_flag(read, label, found):
            return None
        return Placed(read.text == "yes", read.place)

    def schema(self) -> Schema:
        """The two words."""
        return {"enum": ["yes", "no"]}


def check_flag(read: ScalarNode, label: str, found: Findings) -> bool:
    """Whether the text is yes or no; else it is named."""
    if read.text in ("yes", "no"):
        return True
    meant = read.text.lower() if read.text.lower() in ("yes", "no") else _MEANT.get(read.text.lower())
    advice = f"Write `{meant}`." if meant else "Write `yes` or `no`."
    found.add("bad-flag", read.place, f"{label} is `{shown(read.text)}`.", advice)
    return False


@dataclass(frozen=True, slots=True)
class Number:
    """A decimal number, read exactly; `whole` for whole numbers from 0."""

    whole: bool = False

    def read(self, node: Node, label: str, found: Findings) -> Placed[Fraction] | None:
        """The number as a fraction."""
        wanted = "a whole number" if self.whole else "a number"
        read = scalar(node, label, wanted, found)
        if read is None:
            return None
        number = parse_number(read.text)
        if number is None or (self.whole and (number < 0 or number.denominator != 1)):
            advice = f"Write {wanted}, such as {'12' if self.whole else '0.8'}."
            found.add("bad-number", read.place, f"{label} is `{shown(read.text)}`.", advice)
            return None
        return Placed(number, read.place)

    def schema(self) -> Schema:
        """A number; a text with digits is one too, since nothing is typed by its looks."""
        return {"type": ["integer", "string"] if self.whole else ["number", "string"], "pattern": NUMBER}


def parse_number(text: str) -> Fraction | None:
    """The exact value of a decimal number as rule files write it, or None."""
    if len(text) > LONGEST_NUMBER or not re.match(NUMBER.removesuffix("$") + r"\Z", text):
        return None
    return Fraction(text)


@dataclass(frozen=True, slots=True)
class Day:
    """A date, year-month-day."""

    def read(self, node: Node, label: str, found: Findings) -> Placed[date] | None:
        """The date."""
        read = scalar(node, label, "a date such as 2026-01-31", found)
        day = parse_date(read, label, found) if read else None
        return Placed(day, read.place) if read and day else None

    def schema(self) -> Schema:
        """The pattern of a date."""
        return {"type": "string", "pattern": DATE}


def parse_date(read: ScalarNode, label: str, found: Findings) -> date | None:
    """The date written, from 1900 to 2199; else it is named."""
    if re.match(DATE.removesuffix("$") + r"\Z", read.text):
        try:
            day = date.fromisoformat(read.text)
        except ValueError:
            day = None
        if day is not None and 1900 <= day.year < 2200:
            return day
    found.add(
        "bad-date",
        read.place,
        f"{label} is `{shown(read.text)}`.",
        "Write year-month-day, such as 2026-01-31.",
    )
    return None


@dataclass(frozen=True, slots=True)
class IntervalText:
    """An upper bound on time; `review` for the kinds that may set a review."""

    review: bool = False

    def read(self, node: Node, label: str, found: Findings) -> Placed[Interval] | None:
        """The interval."""
        read = scalar(node, label, "an interval such as `72 hours`", found)
        if read is None:
            return None
        parsed = intervals.parse_interval(read.text)
        if not isinstance(parsed, Interval):
            code, message, advice = parsed
            how_to = intervals.HOW_TO_REVIEW if self.review and advice == intervals.HOW_TO else advice
            found.add(code, read.place, message, how_to)
            return None
        if self.review and not intervals.fits_review(parsed):
            found.add(
                "review-interval",
                read.place,
                f"A review cannot be set by `{read.text}`.",
                intervals.HOW_TO_REVIEW,
            )
            return None
        return Placed(parsed, read.place)

    def schema(self) -> Schema:
        """The pattern of an interval."""
        return {"type": "string", "pattern": intervals.REVIEW_PATTERN if self.review else intervals.PATTERN}


@dataclass(frozen=True, slots=True)
class OneOf:
    """One of a closed list of words."""

    words: tuple[str, ...]

    def read(self, node: Node, label: str, found: Findings) -> Placed[str] | None:
        """The word."""
        read = scalar(node, label, "one of " + word_list(self.words), found)
        if read is None:
            return None
        if read.text not in self.words:
            found.add(
                "unknown-word", read.place, f"{label} is `{shown(read.text)}`.", choose(read.text, self.words)
            )
            return None
        return Placed(read.text, read.place)

    def schema(self) -> Schema:
        """The words."""
        return {"enum": list(self.words)}


def word_list(words: Iterable[str]) -> str:
    """Words in backticks, with commas."""
    return ", ".join(f"`{word}`" for word in words)


def choose(word: str, words: Iterable[str]) -> str:
    """Advice to take one of these words: the closest, or all when there are few."""
    known = list(words)
    if not known:
        return "None is known here."
    otherwise = (
        f"Use one of {word_list(known)}." if len(known) <= 16 else "Use a name that the edition gives."
    )
    return did_you_mean(word[:LONGEST_NAME], known, otherwise)
