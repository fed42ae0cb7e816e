"""How long until a review or an arrangement is due, as rule files say it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

IntervalKind = Literal["immediately", "same_day", "hours", "days", "working_days", "days_of_first_contact"]


@dataclass(frozen=True, slots=True)
class Interval:
    """An upper bound on time, counted in whole days of the calendar from the day of the assessment.

    `amount` is in the unit of `kind` and 0 for `immediately` and `same_day`; hours are a multiple of 24.
    `days_of_first_contact` counts from the first contact and is never counted afresh.
    """

    kind: IntervalKind
    amount: int = 0

    @property
    def counts_days(self) -> bool:
        """Whether it is a number of days from the assessment: `hours`, `days`, `same_day`, `immediately`."""
        return self.kind not in ("working_days", "days_of_first_contact")

    def days(self) -> int:
        """Days from the assessment. Raises ValueError where it `counts` none."""
        if not self.counts_days:
            raise ValueError(f"{self.kind} is not counted in days from the assessment")
        return self.amount // 24 if self.kind == "hours" else self.amount

    def __str__(self) -> str:
        match self.kind:
            case "immediately":
                return "immediately"
            case "same_day":
                return "same day"
            case "working_days":
                return f"{self.amount} working day{'' if self.amount == 1 else 's'}"
            case "days_of_first_contact":
                return f"{self.amount} days of first contact"
            case _:
                return f"{self.amount} {self.kind}"


@dataclass(frozen=True, slots=True)
class SettingReference:
    """The interval is a setting of the edition, by name."""

    setting: str


Within = Interval | SettingReference
