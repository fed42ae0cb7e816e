"""Reads `cards.yaml`: what cards say beside the words of an edition, and the reasons for overriding one."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final, cast

from limbtier.domain.card_words import INDICATORS, CardWords, Indicator, OverrideReason
from limbtier.domain.decision import DISPOSITIONS
from limbtier.rulesets.findings import Findings, Placed
from limbtier.rulesets.names import Names
from limbtier.rulesets.nodes import Node, shown
from limbtier.rulesets.records import Fields, Key, ListOf, Record
from limbtier.rulesets.rule_file import compose_file
from limbtier.rulesets.shapes import NameUsed, OneOf, Role, Text, Version, choose, word_list

FILE: Final = "cards.yaml"
MARKS: Final = ("leg", "tier", "day")
_BRACES: Final = re.compile(r"\{([^{}]*)\}|[{}]")

INDICATOR_KEYS: Final = tuple(
    Key(name, OneOf(INDICATORS), f"how urgent a card is that says `{name}`", required=True)
    for name in DISPOSITIONS
)
SUMMARY_KEYS: Final = tuple(
    Key(name, Text(), f"the one sentence of a card for `{name}`", required=True)
    for name in ("danger_sign", "other_leg_waits", *DISPOSITIONS, "overdue", "no_assessment")
)
NOTE_KEYS: Final = tuple(
    Key(name, Text(), f"what a card explains for `{name}`", required=True)
    for name in ("overdue", "no_assessment")
)
CODE: Final = Key("code", NameUsed, "the code of the reason, which never changes", required=True)
DISPLAY: Final = Key("display", Text(), "the words of the reason", required=True)

VERSION: Final = Key("version", Version, "the version of the file", required=True)
OWNER: Final = Key("owner", Role(), "the role that answers for the words", required=True)
TOPIC: Final = Key("topic", Text(), "what all cards are about", required=True)
INDICATOR: Final = Key(
    "indicators", Record("the list of indicators", INDICATOR_KEYS), "how urgent cards are", required=True
)
SUMMARY: Final = Key(
    "summaries", Record("the list of summaries", SUMMARY_KEYS), "the first line of cards", required=True
)
NOTE: Final = Key("notes", Record("the list of notes", NOTE_KEYS), "what cards explain", required=True)
REASONS: Final = Key(
    "override_reasons",
    ListOf(Record("a reason", (CODE, DISPLAY))),
    "why a card may not be followed",
    required=True,
)
CARDS_FILE: Final = Record("the file", (VERSION, OWNER, TOPIC, INDICATOR, SUMMARY, NOTE, REASONS))


def load_cards(folder: Path) -> CardWords:
    """The words of a rules folder. Raises InvalidRuleFiles with every diagnostic."""
    found = Findings()
    words = read_cards(compose_file(folder / FILE, FILE, found), found)
    found.refuse()
    if words is None:
        raise AssertionError("words for cards without findings have all their parts")
    return words


def read_cards(root: Node | None, found: Findings) -> CardWords | None:
    """The words, or None when anything was refused."""
    fields = CARDS_FILE.read(root, "The file", found) if root is not None else None
    if fields is None:
        return None
    indicators = _texts(fields.get(INDICATOR), INDICATOR_KEYS)
    stop = indicators.get("stop_and_escalate")
    if stop and stop.value != "critical":
        message = f"`stop_and_escalate` is `{stop.value}`."
        found.add("unknown-word", stop.place, message, "Write `critical`: danger signs stand under it.")
    summaries = _texts(fields.get(SUMMARY), SUMMARY_KEYS)
    notes = _texts(fields.get(NOTE), NOTE_KEYS)
    for name, text in [*summaries.items(), *notes.items()]:
        _check_marks(text, () if name == "no_assessment" else MARKS, found)
    reasons: Names[OverrideReason] = Names("reason")
    listed = fields.get(REASONS)
    for entry in listed.value if listed else ():
        code, display = entry.get(CODE), entry.get(DISPLAY)
        if code and display:
            reasons.give(code, OverrideReason(code.value, display.value), found, "duplicate-id")
    version, topic = fields.get(VERSION), fields.get(TOPIC)
    if len(found) or not (version and topic):
        return None
    return CardWords(
        version=version.value,
        topic=topic.value,
        indicators={name: cast("Indicator", one.value) for name, one in indicators.items()},
        summaries={name: one.value for name, one in summaries.items()},
        notes={name: one.value for name, one in notes.items()},
        override_reasons=reasons.known,
    )


def _texts(fields: Fields | None, keys: Iterable[Key[Placed[str]]]) -> Mapping[str, Placed[str]]:
    return {key.name: text for key in keys if fields and (text := fields.get(key))}


def _check_marks(text: Placed[str], known: tuple[str, ...], found: Findings) -> None:
    """Name every mark in braces that nothing is put in place of."""
    for mark in _BRACES.finditer(text.value):
        if mark[1] not in known:
            marks = word_list(f"{{{name}}}" for name in known)
            advice = f"Use one of {marks}." if known else "Take it out: nothing is known here."
            if mark[1] and known:
                advice = choose(mark[1], known)
            found.add("unknown-word", text.place, f"Nothing stands for `{shown(mark[0])}`.", advice)
