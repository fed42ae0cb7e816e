"""A decision record as plain text, for a person at a terminal. Everything shown stands in the record."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

WIDTH = 100


def decision_text(record: Mapping[str, Any]) -> str:
    """The record as text: per leg the tier, what holds it there, the step-up plan, the review, what to
    arrange and ask, materials and cautions; then the person and the local-policy caution."""
    edition = record["edition"]
    stored = f"decision {record['id']}" if record["id"] else "preview, stored nowhere"
    lines = [
        f"limbtier {stored}, decided by {edition['id']} ({edition['status']}, {edition['digest'][:19]}…)",
        "",
    ]
    for side, limb in record["limbs"].items():
        lines += [*_limb(side, limb), ""]
    lines += _block("Person", [record["person"]["text"]])
    lines += _block(
        "Check these entries", [f"{w['pointer']}: {w['message']} {w['help']}" for w in record["warnings"]]
    )
    lines += _block("CAUTION", [record["caution"]])
    return "\n".join(lines) + "\n"


def _limb(side: str, limb: Mapping[str, Any]) -> list[str]:
    because = {reason["rule"]: reason["because"] for reason in limb["reasons"]}
    head = f"{side.upper()} LEG: {_words(limb['disposition'])} at {limb['tier']}".replace(
        "not indicated at withhold", "not indicated, no compression"
    )
    lines = [head, "=" * len(head)]
    if limb["provisional"]:
        lines += _wrapped(
            f"Range {limb['range']['lowest']} to {limb['range']['highest']}. {limb['provisional']}", 2
        )
    lines += _block("Held there by", _holding(limb, because))
    lines += _block(
        f"Step-up plan to {limb['target_tier']} (permits nothing: each step is a new decision)",
        [
            f"{step['from']} to {step['to']}, once settled: " + "; ".join(_lifts(step["lifts"]))
            for step in limb["step_up_plan"]
        ],
    )
    review = limb["review"]
    note = ""
    if review["note"]:
        note = f" {review['note']} The last possible contact is {_day(review['due_on'])}."
    lines += _block(
        "Review",
        [
            (
                f"by {_day(review['due_on'])}, {_within(review['within_hours'])}, "
                f"set by {', '.join(review['set_by'])} ({_words(review['calendar'])} calendar).{note}"
            )
        ],
    )
    lines += _block(
        "Arrange", [_arrangement(entry) for entry in limb["arrangements"] if entry["state"] == "due"]
    )
    lines += _block(
        "Still to ask",
        [f"{entry['input']}: {entry['question']}" for entry in limb["questions"][:8]]
        + ([f"and {len(limb['questions']) - 8} more"] if len(limb["questions"]) > 8 else []),
    )
    lines += _block("Why", _reasons(limb))
    chosen = limb["materials"]["chosen"]
    lines += _block("Materials that fit", [_material(entry) for entry in chosen])
    caveat = limb["materials"]["pressure_caveat"]
    lines += _block("About the estimates", [caveat] if caveat else [])
    lines += _block("Technique", [entry["text"] for entry in limb["materials"]["technique"]])
    lines += _block("Cautions", dict.fromkeys(entry["text"] for entry in limb["cautions"]))
    lines += _block("Tell the person", limb["safety_net"])
    return lines


def _holding(limb: Mapping[str, Any], because: Mapping[str, str]) -> list[str]:
    """What holds the leg at the tier given: each limit that applies, then in one entry the unanswered."""
    here = [held for held in limb["limits"] if held["at_tier_given"]]
    lines = [
        f"{held['rule']} (limit {held['tier']}{_until(held)}): {because[held['rule']]}"
        for held in here
        if held["state"] == "applies"
    ]
    unanswered = [held["rule"] for held in here if held["state"] == "undetermined"]
    if unanswered:
        lines.append(f"unanswered questions behind {', '.join(unanswered)}")
    return lines


def _reasons(limb: Mapping[str, Any]) -> list[str]:
    """Why the tier, the review and the arrangements are what they are, where the rule applies."""
    holding = {held["rule"] for held in limb["limits"] if held["at_tier_given"]}
    return [
        f"{reason['title']}: {reason['because']}"
        for reason in limb["reasons"]
        if reason["state"] == "applies"
        and reason["rule"] not in holding
        and reason["concludes"].keys() & {"propose", "limit", "review", "arrange"}
    ]


def _block(title: str, entries: Iterable[str]) -> list[str]:
    entries = list(entries)
    if not entries:
        return []
    lines = [f"  {title}:"]
    for entry in entries:
        lines += _wrapped(f"- {entry}", 4)
    return lines


def _wrapped(text: str, indent: int) -> list[str]:
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent + (2 if text.startswith("- ") else 0)),
        break_long_words=False,
        break_on_hyphens=False,
    )


def _within(hours: int) -> str:
    return f"within {hours} hours" if hours else "today"


def _until(held: Mapping[str, Any]) -> str:
    return f", until {_words(held['until'])}" if held["until"] else ""


def _lifts(lifts: list[Mapping[str, Any]]) -> list[str]:
    """What lifts the limits of one step, each lift once, at its earliest day."""
    earliest: dict[str, str] = {}
    for lift in lifts:
        earliest[lift["what"]] = min(lift["by"], earliest.get(lift["what"], lift["by"]))
    return [f"{what} by {_day(by)}" for what, by in earliest.items()]


def _arrangement(entry: Mapping[str, Any]) -> str:
    after = f", after {', '.join(_words(name) for name in entry['after'])}" if entry["after"] else ""
    return f"{entry['title']}, by {_day(entry['due_on'])} ({entry['within']}){after}"


def _material(entry: Mapping[str, Any]) -> str:
    estimate = entry["estimated_pressure"]
    text = str(entry["title"])
    if estimate is not None and estimate["ankle_mmhg"] is not None:
        text += f"; estimated {estimate['ankle_mmhg']} mmHg at the ankle"
    if entry["rolls"] is not None:
        text += f"; about {entry['length_cm']} cm, {entry['rolls']} roll{'' if entry['rolls'] == 1 else 's'}"
    return text


def _day(text: str) -> str:
    day = date.fromisoformat(text)
    return f"{day:%a} {day.day} {day:%B %Y}"


def _words(name: str) -> str:
    return name.replace("_", " ")
