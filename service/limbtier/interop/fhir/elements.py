"""Reading elements of FHIR JSON strictly: what is there must be known, and nothing that could change its
meaning is passed over."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from limbtier.foundation.diagnostics import Diagnostic, did_you_mean, pointer

Steps = tuple[str | int, ...]
Json = Mapping[str, Any]

RESOURCE: Final = frozenset({"id", "meta", "language", "text", "extension"})
"""What any resource may have and nothing is read from."""
ELEMENT: Final = frozenset({"id", "extension"})
"""What any element may have and nothing is read from."""
_MODIFIERS: Final = ("modifierExtension", "implicitRules")


@dataclass(slots=True)
class Faults:
    """Collects what is wrong with a request, each with its place in it."""

    found: list[Diagnostic] = field(default_factory=list)

    def add(self, code: str, message: str, advice: str, steps: Steps) -> None:
        """One more fault."""
        self.found.append(Diagnostic(code, message, advice, pointer(*steps)))

    def __len__(self) -> int:
        return len(self.found)


def shown(text: object) -> str:
    """A text of the request, short and printable, for a message."""
    plain = str(text)
    printable = "".join(letter if letter.isprintable() else "?" for letter in plain[:61])
    return printable if len(plain) <= 60 else printable[:57] + "..."


def check_elements(
    given: Json, read: Collection[str], ignored: Collection[str], steps: Steps, faults: Faults
) -> None:
    """Name every element that is neither read nor known to be of no consequence, and every empty one."""
    known = {*read, *ignored}
    for name, value in given.items():
        where = (*steps, name)
        if name in _MODIFIERS:
            advice = "Send a resource without it."
            faults.add("modifier-not-known", f"`{name}` could change what the rest means.", advice, where)
        elif name.startswith("_") and name[1:] in known:
            if name[1:] in read:
                message = f"`{name}` adds to `{name[1:]}` something that is not read here."
                faults.add("modifier-not-known", message, f"Send `{name[1:]}` alone.", where)
        elif name not in known:
            advice = did_you_mean(name[:60], known, "Leave it out.")
            faults.add("unknown-element", f"There is no element `{shown(name)}` here.", advice, where)
        elif value is None or value in ("", [], {}):
            faults.add("empty-element", f"`{name}` is empty.", "Leave an element without a value out.", where)


def objects(given: Json, name: str, steps: Steps, faults: Faults) -> list[tuple[dict[str, Any], Steps]]:
    """The objects of a list with their places; what is no list of objects is named."""
    value = given.get(name)
    if value is None or value == []:
        return []
    if not isinstance(value, list):
        faults.add("wrong-type", f"`{name}` is no list.", "Send a list of objects.", (*steps, name))
        return []
    found: list[tuple[dict[str, Any], Steps]] = []
    for place, item in enumerate(value):
        where = (*steps, name, place)
        if isinstance(item, dict):
            found.append((item, where))
        else:
            faults.add("wrong-type", f"An entry of `{name}` is no object.", "Send an object.", where)
    return found


def text_of(given: Json, name: str, steps: Steps, faults: Faults) -> str | None:
    """The text of an element; one that is something else is named."""
    value = given.get(name)
    if value is None or isinstance(value, str):
        return value
    faults.add("wrong-type", f"`{name}` is no text.", "Send a text.", (*steps, name))
    return None


def codings_of(concept: object) -> list[tuple[str, str]]:
    """System and code of every coding of a CodeableConcept that has both."""
    codings = concept.get("coding") if isinstance(concept, dict) else None
    found: list[tuple[str, str]] = []
    for one in codings if isinstance(codings, list) else []:
        system, code = (one.get("system"), one.get("code")) if isinstance(one, dict) else (None, None)
        if isinstance(system, str) and isinstance(code, str):
            found.append((system, code))
    return found
