"""Names that an edition gives, and looking them up where they are used."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Generic, Literal, TypeVar

from limbtier.domain.vocabulary import Input
from limbtier.rulesets.findings import Findings, Place, Placed
from limbtier.rulesets.nodes import shown
from limbtier.rulesets.shapes import choose

T = TypeVar("T")


@dataclass(slots=True)
class Names(Generic[T]):
    """All names of one sort. `complete` is False when an entry could not be read: then a name that is not
    here may have been meant to be, and is not called unknown.

    In an edition that is based on another, `base` is the id of that one, which gives the names that have no
    place here; `instead` says what to do rather than give one of them again.
    """

    what: str
    known: dict[str, T] = field(default_factory=dict)
    places: dict[str, Place] = field(default_factory=dict)
    complete: bool = True
    base: str | None = None
    instead: str = ""

    def give(self, name: Placed[str], entry: T, found: Findings, code: str = "duplicate-name") -> bool:
        """Record a name; False, with a finding, when it was given before."""
        if name.value in self.known:
            first = self.places.get(name.value)
            if first is None:
                message = f"The base `{self.base}` gives the {self.what} `{name.value}` already."
                found.add("given-by-base", name.place, message, self.instead)
                return False
            found.add(
                code,
                name.place,
                f"The {self.what} `{name.value}` is given twice; first in {first.file}, line {first.line}.",
                "Rename or remove one of the two.",
            )
            return False
        self.known[name.value] = entry
        self.places[name.value] = name.place
        return True

    def find(self, name: Placed[str], found: Findings) -> T | None:
        """The entry of a name that is used; an unknown one is named."""
        if name.value not in self.known and self.complete:
            message = f"There is no {self.what} `{shown(name.value)}`."
            found.add("unknown-name", name.place, message, choose(name.value, self.known))
        return self.known.get(name.value)

    def of_base(self, name: Placed[str], found: Findings) -> bool:
        """Whether the base gives a name that is to be changed; one that it does not give is named."""
        given = self.known.keys() - self.places.keys()
        if name.value in given:
            return True
        message = f"The base `{self.base}` has no {self.what} `{shown(name.value)}`."
        found.add("unknown-name", name.place, message, choose(name.value, sorted(given)))
        return False

    def all_of(self, used: Placed[tuple[Placed[str], ...]] | None, found: Findings) -> tuple[str, ...]:
        """The names of a list; unknown ones and ones listed twice are named."""
        if used is None:
            return ()
        for name in used.value:
            self.find(name, found)
        return distinct(used.value, found)


def distinct(words: Iterable[Placed[T]], found: Findings) -> tuple[T, ...]:
    """The values in their order; one listed twice is named."""
    seen: dict[T, Place] = {}
    for word in words:
        if word.value in seen:
            found.add(
                "listed-twice", word.place, f"`{word.value}` is listed twice.", "Take one of the two out."
            )
        seen.setdefault(word.value, word.place)
    return tuple(seen)


Testing = Literal["words", "number", "neither"]


@dataclass(frozen=True, slots=True)
class Testable:
    """An input, measure or derived fact that a condition may test. `testing` is None, and `values` empty,
    where its own entry could not be read. `entry` is the input, for inputs that could be read."""

    name: str
    testing: Testing | None
    flag: bool
    values: tuple[str, ...]
    sort: Literal["input", "measure", "fact"]
    scope: str | None = None
    entry: Input | None = None

    @property
    def is_input(self) -> bool:
        """Whether it is asked."""
        return self.sort == "input"

    @property
    def is_fact(self) -> bool:
        """Whether rules classify it."""
        return self.sort == "fact"
