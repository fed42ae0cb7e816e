"""What an edition does to the edition it is based on, each with its reason and the role that decided it."""

from __future__ import annotations

from typing import Final

from limbtier.domain.edition import (
    Act,
    ArrangementWords,
    Change,
    Edition,
    Material,
    Part,
    Setting,
    Tier,
    Wording,
    WorkedCase,
)
from limbtier.domain.rule import Origin, Rule
from limbtier.rulesets.findings import Findings, Place, Placed
from limbtier.rulesets.records import Fields, Key
from limbtier.rulesets.shapes import Role, Text

REASON: Final = Key("reason", Text(), "why this edition departs from its base here", required=True)
DECIDED_BY: Final = Key("decided_by", Role(), "the role that decided it, not a person", required=True)
WHY: Final = (REASON, DECIDED_BY)

Before = Rule | Setting | Tier | ArrangementWords | Material | Wording | WorkedCase


class Changes:
    """Collects the changes of one edition. Nothing of the base is changed twice."""

    def __init__(self, base: Edition, edition_id: str, found: Findings) -> None:
        self.base = base
        self.rules = {rule.id: rule for rule in base.rules}
        self.made: list[Change] = []
        self._edition_id = edition_id
        self._found = found
        self._places: dict[tuple[Part, str], Place] = {}

    def added(
        self, part: Part, name: Placed[str], why: Fields | None = None, before: Before | None = None
    ) -> None:
        """Something new; `why` holds its reason, where it needs one."""
        self._keep(part, "added", name, why, before)

    def change(self, part: Part, act: Act, name: Placed[str], why: Fields, before: Before) -> bool:
        """Something of the base replaced or withdrawn; False, with a finding, when it was changed before."""
        first = self._places.get((part, name.value))
        if first is not None:
            message = f"The {part} `{name.value}` is changed twice; first in {first.file}, line {first.line}."
            self._found.add("changed-twice", name.place, message, "Keep one of the two.")
            return False
        self._places[part, name.value] = name.place
        self._keep(part, act, name, why, before)
        return True

    def place_of(self, part: Part, name: str) -> Place | None:
        """Where something of the base is changed."""
        return self._places.get((part, name))

    def origin(self, act: Act, why: Fields) -> Origin:
        """The origin of a rule that this edition writes."""
        reason, decided_by = _why(why)
        return Origin(self._edition_id, "added" if act == "added" else "replaced", reason, decided_by)

    def refuse_same(self, what: str, place: Place) -> None:
        """Name something that is replaced by what the base has."""
        message = f"The {what} stays as it is in the base `{self.base.id}`."
        self._found.add("changes-nothing", place, message, "Change it, or take the entry out.")

    def _keep(
        self, part: Part, act: Act, name: Placed[str], why: Fields | None, before: Before | None
    ) -> None:
        reason, decided_by = _why(why) if why else (None, None)
        self.made.append(Change(part, act, name.value, reason, decided_by, before, *name.place))


def _why(entry: Fields) -> tuple[str | None, str | None]:
    reason, decided_by = entry.get(REASON), entry.get(DECIDED_BY)
    return (reason.value if reason else None, decided_by.value if decided_by else None)
