"""Examples for the description: worked cases of the edition itself, decided by it when they are shown."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

import orjson

from limbtier.domain.caller import Caller
from limbtier.domain.edition import WorkedCase
from limbtier.engine.decide import decide
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.errors import LimbtierError
from limbtier.foundation.strict_json import read_json
from limbtier.use_cases.assessment_request import read_assessment
from limbtier.use_cases.decide import ReadyRules

EXAMPLE_ID: Final = "00000000-0000-4000-8000-000000000000"
_CALLER: Final = Caller("invented", "quillerbeck", frozenset())
MOST_ENTRIES: Final = 2


@dataclass(frozen=True, slots=True)
class Example:
    """An invented assessment and its answer. `answer` has its long lists shortened."""

    name: str
    story: str
    request: dict[str, Any]
    answer: dict[str, Any]


def examples_of(rules: ReadyRules, prepared: PreparedEdition, most: int) -> list[Example]:
    """The first worked cases of an edition; fewer when it has fewer, or when one cannot be decided."""
    found: list[Example] = []
    for case in prepared.edition.cases:
        if len(found) == most:
            break
        try:
            found.append(_example(rules, prepared, case))
        except LimbtierError:
            continue  # `limbtier check` names it; the description is not the place to fail
    return found


def _example(rules: ReadyRules, prepared: PreparedEdition, case: WorkedCase) -> Example:
    body = orjson.dumps(case.assessment, default=_number)
    assessment, _ = read_assessment(read_json(body), lambda _name, _moment: prepared)
    decision = decide(prepared, assessment, rules.calendars[assessment.calendar], assessment.assessed_at)
    record = rules.writers[prepared.edition.id].write(decision, EXAMPLE_ID, body, _CALLER)
    return Example(case.id, case.story, orjson.loads(body), _shortened(orjson.loads(record)))


def _number(value: Any) -> float:
    if isinstance(value, Decimal):
        return float(value)
    raise TypeError(f"a worked case holds a {type(value).__name__}")


def _shortened(value: Any) -> Any:
    match value:
        case dict():
            return {name: _shortened(item) for name, item in value.items()}
        case [dict(), *_]:
            return [_shortened(item) for item in value[:MOST_ENTRIES]]
        case _:
            return value
