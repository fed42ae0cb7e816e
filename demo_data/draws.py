"""Chance that comes out the same every time, on every version of Python."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from typing import TypeVar

Shares = Mapping[str, int]
Item = TypeVar("Item")


class Chance:
    """Draws that never change: only `random()` is promised to be the same in every version of Python."""

    def __init__(self, start: int) -> None:
        self._draw = random.Random(start).random  # noqa: S311 - invented data, nothing secret

    def yes(self, share: float) -> bool:
        """True in about this share of draws."""
        return self._draw() < share

    def whole(self, low: int, high: int) -> int:
        """A whole number from low to high, both included."""
        return low + int(self._draw() * (high - low + 1))

    def tenths(self, low: float, high: float) -> float:
        """A number to one decimal place from low to high."""
        return self.whole(round(low * 10), round(high * 10)) / 10

    def one_of(self, items: Sequence[Item]) -> Item:
        """One of the items, each as likely."""
        return items[self.whole(0, len(items) - 1)]

    def by(self, shares: Shares) -> str:
        """One of the names, as likely as its share."""
        left = self._draw() * sum(shares.values())
        for name, share in shares.items():
            left -= share
            if left < 0:
                return name
        return next(reversed(list(shares)))
