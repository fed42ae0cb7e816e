"""An assessment as received and read: answers of the person and of each limb."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from fractions import Fraction
from typing import Any, Literal
from zoneinfo import ZoneInfo

from limbtier.foundation.diagnostics import Diagnostic

Answer = str | Fraction | date | tuple[Fraction, ...]
Answers = Mapping[str, Answer]
Side = Literal["left", "right"]
SIDES: tuple[Side, ...] = ("left", "right")
UNITED_KINGDOM = ZoneInfo("Europe/London")


@dataclass(frozen=True, slots=True)
class Assessment:
    """One contact. An input absent from `person` or a limb was not recorded; that is never a "no".

    `assessed_at` carries its offset; `calendar` names the nation whose bank holidays count;
    `received` is the request as it came; `warnings` are answers that are allowed but unusual.
    `assessed_on` is the day of the contact by United Kingdom clocks; intervals count from it.
    """

    assessed_at: datetime
    calendar: str
    episode: str | None
    edition: str | None
    person: Answers
    limbs: Mapping[Side, Answers]
    received: Mapping[str, Any]
    warnings: tuple[Diagnostic, ...] = ()
    assessed_on: date = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "assessed_on", day_of(self.assessed_at))


def day_of(moment: datetime) -> date:
    """The day of a moment by United Kingdom clocks."""
    return moment.astimezone(UNITED_KINGDOM).date()
