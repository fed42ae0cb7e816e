"""Answers as they are kept, and as the engine holds them."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

from limbtier.domain.assessment import Answer
from limbtier.domain.episode_state import Stored
from limbtier.domain.vocabulary import Input
from limbtier.foundation.answer_states import NOT_DONE


def answer_of(entry: Input | None, kept: Stored) -> Answer | None:
    """A kept answer as an answer to a question; None when the question is not there, or does not take it: the
    answer may have been given by the words of another edition."""
    if entry is None:
        return None
    if kept == NOT_DONE:
        return NOT_DONE if entry.may_be_not_done else None
    match entry.kind:
        case "flag" | "choice":
            return kept if isinstance(kept, str) and kept in entry.values() else None
        case "whole_number" | "number":
            return Fraction(kept) if isinstance(kept, str) else None
        case "date":
            return date.fromisoformat(kept) if isinstance(kept, str) else None
        case "number_series":
            return None if isinstance(kept, str) else tuple(Fraction(number) for number in kept)
