"""Feedback on cards (CDS Hooks 2.0, "Feedback"), read so that nothing personal can come of it.

A comment is free text and may name anybody: it is never kept, shown or logged. A reason is kept when it is
one of ours, as its code; of a client's own reason only that there was one.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from limbtier.foundation.diagnostics import Diagnostic, did_you_mean, pointer
from limbtier.foundation.errors import LimbtierError
from limbtier.interop.cds_hooks.card_ids import decisions_of
from limbtier.interop.cds_hooks.hook_request import is_text

OUTCOMES: Final = ("accepted", "overridden")
OTHER_REASON: Final = "other"
"""Stands for a reason of the client's own."""
MOST_ENTRIES: Final = 100
MOST_SUGGESTIONS: Final = 100
LONGEST_COMMENT: Final = 10_000
"""Characters of a comment, which is not kept."""

# RFC 3339, section 5.6.
_MOMENT: Final = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt][0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,9})?([Zz]|[+-][0-9]{2}:[0-9]{2})"
)


class InvalidFeedback(LimbtierError):
    """The body is no feedback that can be kept; nothing of it was."""

    code = "invalid-feedback"


@dataclass(frozen=True, slots=True)
class CardFeedback:
    """What happened to one card. `reason` is a code of ours, `other`, or None where none was given; `at` is
    in UTC."""

    card: str
    outcome: str
    reason: str | None
    at: datetime


def read_feedback(value: Any, reasons: Collection[str], system: str) -> list[CardFeedback]:
    """The entries. `reasons` are our codes, of the code system `system`. Raises InvalidFeedback that names
    every fault at once."""
    listed = value.get("feedback") if isinstance(value, dict) else None
    if not isinstance(listed, list) or not listed:
        advice = "Send an object with the list `feedback`, with at least one entry."
        raise InvalidFeedback([_fault("wrong-type", "There is no list of feedback.", advice, "feedback")])
    if len(listed) > MOST_ENTRIES:
        advice = f"Send at most {MOST_ENTRIES} at once."
        raise InvalidFeedback([_fault("out-of-range", "There are too many entries.", advice, "feedback")])
    found: list[Diagnostic] = []
    entries = [_entry(one, reasons, system, found, "feedback", place) for place, one in enumerate(listed)]
    if found:
        raise InvalidFeedback(found)
    return [one for one in entries if one is not None]


def _entry(
    value: Any, reasons: Collection[str], system: str, found: list[Diagnostic], *steps: str | int
) -> CardFeedback | None:
    if not isinstance(value, dict):
        found.append(_fault("wrong-type", "The entry is no object.", "Send an object.", *steps))
        return None
    card = _text(value, "card", found, *steps)
    if card is not None and not decisions_of(card):
        advice = "Give the `uuid` of a card that this service answered with."
        found.append(_fault("unknown-card", "No card has this id.", advice, *steps, "card"))
    outcome = _text(value, "outcome", found, *steps)
    if outcome is not None and outcome not in OUTCOMES:
        advice = did_you_mean(outcome[:60], OUTCOMES, "Use `accepted` or `overridden`.")
        found.append(_fault("unknown-choice", "`outcome` is none of its choices.", advice, *steps, "outcome"))
    if outcome == "accepted":
        _check_suggestions(value, found, *steps)
    reason = None
    if "overrideReason" in value:
        reason = _reason(value["overrideReason"], reasons, system, found, *steps, "overrideReason")
    at = _moment(_text(value, "outcomeTimestamp", found, *steps), found, *steps, "outcomeTimestamp")
    if card is None or outcome is None or at is None:
        return None
    return CardFeedback(card.lower(), outcome, reason if outcome == "overridden" else None, at)


def _check_suggestions(value: Mapping[str, Any], found: list[Diagnostic], *steps: str | int) -> None:
    accepted = value.get("acceptedSuggestions")
    if not (
        isinstance(accepted, list)
        and 0 < len(accepted) <= MOST_SUGGESTIONS
        and all(isinstance(one, dict) and is_text(one.get("id")) for one in accepted)
    ):
        message = "`acceptedSuggestions` does not name what was accepted."
        advice = "List the `uuid` of each accepted suggestion as `id`."
        found.append(_fault("missing-field", message, advice, *steps, "acceptedSuggestions"))


def _reason(
    value: Any, reasons: Collection[str], system: str, found: list[Diagnostic], *steps: str | int
) -> str | None:
    if not isinstance(value, dict):
        found.append(_fault("wrong-type", "The reason is no object.", "Send an object.", *steps))
        return None
    comment = value.get("userComment", "")
    if not isinstance(comment, str) or len(comment) > LONGEST_COMMENT:
        advice = f"Send a text of at most {LONGEST_COMMENT} characters, or none: it is not kept."
        found.append(
            _fault("wrong-type", "The comment is no text, or too long.", advice, *steps, "userComment")
        )
    if "reason" not in value:
        return None
    coding = value["reason"]
    if not (isinstance(coding, dict) and is_text(coding.get("code")) and is_text(coding.get("system", ""))):
        advice = "Send the Coding that the user chose, with `code` and `system`."
        found.append(_fault("wrong-type", "The reason is no Coding.", advice, *steps, "reason"))
        return None
    if coding.get("system") != system:
        return OTHER_REASON
    code: str = coding["code"]
    if code not in reasons:
        advice = did_you_mean(code[:60], reasons, "Send one of the `overrideReasons` of the card.")
        found.append(_fault("unknown-choice", "The code is none of ours.", advice, *steps, "reason", "code"))
        return None
    return code


def _moment(text: str | None, found: list[Diagnostic], *steps: str | int) -> datetime | None:
    if text is None:
        return None
    advice = "Write it as RFC 3339 says, such as 2026-03-02T09:30:00Z."
    if not _MOMENT.fullmatch(text):
        found.append(_fault("bad-format", "`outcomeTimestamp` is no moment.", advice, *steps))
        return None
    try:
        return datetime.fromisoformat(text.upper()).astimezone(UTC)
    except (ValueError, OverflowError):
        message = "`outcomeTimestamp` is a moment that does not exist."
        found.append(_fault("impossible-date", message, advice, *steps))
        return None


def _text(value: Mapping[str, Any], name: str, found: list[Diagnostic], *steps: str | int) -> str | None:
    text = value.get(name)
    if isinstance(text, str):
        return text
    code = "wrong-type" if name in value else "missing-field"
    message = f"`{name}` is {'no text' if name in value else 'missing'}."
    found.append(_fault(code, message, "Give it as a text.", *steps, name))
    return None


def _fault(code: str, message: str, advice: str, *steps: str | int) -> Diagnostic:
    return Diagnostic(code, message, advice, pointer(*steps))
