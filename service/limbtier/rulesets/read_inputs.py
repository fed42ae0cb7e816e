"""Reads the inputs of a vocabulary: what is asked, of whom, and what answers it takes."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, Final, cast, get_args

from limbtier.domain.vocabulary import Choice, Input, InputKind, Range, Scope
from limbtier.rulesets.findings import Findings, Place
from limbtier.rulesets.names import Names, Testable, Testing, distinct
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.read_conditions import AT_LEAST, AT_MOST, condition_reference, edges_cross
from limbtier.rulesets.records import AsWritten, Fields, Key, ListOf, Record
from limbtier.rulesets.shapes import ChoiceValue, Name, Number, OneOf, Text, YesNo, word_list

MOST_PLACES: Final = 6
_NUMERIC: Final = ("whole_number", "number", "number_series")

VALUE: Final = Key("value", ChoiceValue, "the answer as a caller sends it", required=True)
MEANING: Final = Key("meaning", Text(), "what the answer means, in plain words", required=True)
COUNTS_AS: Final = Key(
    "counts_as", ChoiceValue, "the existing choice that this one counts as for guard rails"
)
CHOICE: Final = Record("a choice", (VALUE, MEANING, COUNTS_AS))
RANGE: Final = Record("a range", (AT_LEAST, AT_MOST))

NAME: Final = Key("name", Name, "its name, in small letters, digits and _", required=True)
TITLE: Final = Key("title", Text(), "what people call it", required=True)
SCOPE: Final = Key(
    "scope", OneOf(get_args(Scope)), "whether it is asked of the person or of each limb", required=True
)
KIND: Final = Key("kind", OneOf(get_args(InputKind)), "what sort of answer it takes", required=True)
GROUP: Final = Key("group", Text(), "the heading it stands under on a form", required=True)
QUESTION: Final = Key("question", Text(), "the question in plain words", required=True)
HELP: Final = Key("help", Text(), "how to find the answer")
CHOICES: Final = Key("choices", ListOf(CHOICE, least=2), "the answers of a choice")
UNIT: Final = Key("unit", Text(), "the unit of a number")
MAY_BE_NOT_DONE: Final = Key("may_be_not_done", YesNo(), "whether `not_done` is an answer")
ALLOWED: Final = Key("range", RANGE, "edges outside which a number is refused")
EXPECTED: Final = Key("expected", RANGE, "edges outside which a number is questioned")
PLACES: Final = Key("places", Number(whole=True), "the most decimals")
ASKED_WHEN: Final[Key[Node]] = Key(
    "asked_when", AsWritten(condition_reference), "the condition under which it is asked"
)
DANGER_SIGN: Final = Key("danger_sign", YesNo(), "whether it is asked at every contact as a danger sign")
INPUT: Final = Record(
    "an input",
    (
        NAME,
        SCOPE,
        KIND,
        GROUP,
        QUESTION,
        HELP,
        CHOICES,
        UNIT,
        MAY_BE_NOT_DONE,
        ALLOWED,
        EXPECTED,
        PLACES,
        ASKED_WHEN,
        DANGER_SIGN,
    ),
)


def read_input(entry: Fields, found: Findings) -> Input | None:
    """The input without its condition, or None when a part of it was refused."""
    name, scope, kind = entry.get(NAME), entry.get(SCOPE), entry.get(KIND)
    group, question = entry.get(GROUP), entry.get(QUESTION)
    if kind is not None:
        _refuse_misplaced(entry, kind.value, found)
    choices = _choices(entry, found)
    allowed, expected = _range(entry.get(ALLOWED), found), _range(entry.get(EXPECTED), found)
    _compare_ranges(allowed, expected, entry.place_of(EXPECTED), found)
    places = read_places(entry, found)
    if not (name and scope and kind and group and question and entry.whole):
        return None
    if kind.value == "choice" and not choices:
        return None
    help_text, unit = entry.get(HELP), entry.get(UNIT)
    not_done, danger = entry.get(MAY_BE_NOT_DONE), entry.get(DANGER_SIGN)
    return Input(
        name=name.value,
        scope=cast("Scope", scope.value),
        kind=cast("InputKind", kind.value),
        question=question.value,
        help=help_text.value if help_text else "",
        group=group.value,
        unit=unit.value if unit else None,
        choices=choices,
        may_be_not_done=bool(not_done and not_done.value),
        range=allowed,
        expected=expected,
        places=places,
        asked_when=None,
        danger_sign=bool(danger and danger.value),
    )


def testable_input(name: str, entry: Fields, made: Input | None) -> Testable:
    """What a condition may test of an input, as far as its entry could be read."""
    scope, kind = entry.get(SCOPE), entry.get(KIND)
    not_done = entry.get(MAY_BE_NOT_DONE)
    testing: Testing | None = None
    values: tuple[str, ...] = ("not_done",) if not_done and not_done.value else ()
    if kind is not None:
        testing = "words" if kind.value in ("flag", "choice") else "neither"
        if kind.value in ("whole_number", "number"):
            testing = "number"
        if kind.value == "flag":
            values = ("yes", "no", *values)
        choices = entry.get(CHOICES)
        if kind.value == "choice":
            if choices is None or not choices.whole:
                testing = None
            else:
                values = (*(value.value for choice in choices.value if (value := choice.get(VALUE))), *values)
    if entry.wrote(MAY_BE_NOT_DONE) and not_done is None:
        testing = None
    flag = kind is not None and kind.value == "flag"
    return Testable(name, testing, flag, values, "input", scope.value if scope else None, made)


def _refuse_misplaced(entry: Fields, kind: str, found: Findings) -> None:
    """Name the keys that say nothing for this kind of input, and the choices that a choice lacks."""
    fitting: dict[Key[Any], tuple[str, ...]] = {CHOICES: ("choice",), PLACES: ("number", "number_series")}
    fitting |= dict.fromkeys((UNIT, ALLOWED, EXPECTED), _NUMERIC)
    for key, kinds in fitting.items():
        if entry.wrote(key) and kind not in kinds:
            message = f"`{key.name}` says nothing for an input of kind `{kind}`."
            advice = f"Take it out; it belongs to the kinds {word_list(kinds)}."
            found.add("key-not-for-kind", entry.place_of(key), message, advice)
    if kind == "choice" and not entry.wrote(CHOICES):
        found.add(
            "missing-key",
            entry.place,
            "An input of kind `choice` needs `choices`.",
            "Add the list `choices`.",
        )


def _choices(entry: Fields, found: Findings) -> tuple[Choice, ...]:
    written = entry.get(CHOICES)
    if written is None:
        return ()
    distinct([value for choice in written.value if (value := choice.get(VALUE))], found)
    known: Names[bool] = Names("other choice", complete=written.whole)
    known.known = {value.value: True for choice in written.value if (value := choice.get(VALUE))}
    choices: list[Choice] = []
    for choice in written.value:
        value, meaning, counts_as = choice.get(VALUE), choice.get(MEANING), choice.get(COUNTS_AS)
        if counts_as:
            known.find(counts_as, found)
        if value and meaning:
            choices.append(Choice(value.value, meaning.value, counts_as.value if counts_as else None))
    return tuple(choices)


def _range(fields: Fields | None, found: Findings) -> Range:
    if fields is None:
        return Range()
    lower, upper = fields.get(AT_LEAST), fields.get(AT_MOST)
    if lower and upper and edges_cross(lower.value, upper.value, strict=False):
        found.add(
            "empty-range", fields.place, "No number lies between these edges.", "Exchange or correct them."
        )
        return Range()
    return Range(lower.value if lower else None, upper.value if upper else None)


def _compare_ranges(allowed: Range, expected: Range, place: Place, found: Findings) -> None:
    def outside(edge: Fraction | None) -> bool:
        too_low = edge is not None and allowed.at_least is not None and edge < allowed.at_least
        return too_low or (edge is not None and allowed.at_most is not None and edge > allowed.at_most)

    if outside(expected.at_least) or outside(expected.at_most):
        advice = "Keep `expected` within `range`: outside it a number is refused anyway."
        found.add("expected-outside-range", place, "`expected` reaches beyond `range`.", advice)


def read_places(entry: Fields, found: Findings) -> int:
    """The decimals of an input or a measure; 0 when not given."""
    places = entry.get(PLACES)
    if places is None:
        return 0
    if places.value > MOST_PLACES:
        advice = f"Write at most {MOST_PLACES}."
        found.add(
            "bad-number", places.place, f"`places` is {places.value}, more than is ever measured.", advice
        )
        return 0
    return int(places.value)
