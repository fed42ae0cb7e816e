"""The request as it comes over HTTP or in a file, read strictly into an assessment."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection
from datetime import datetime
from typing import Annotated, Any, Final

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from limbtier.domain.assessment import SIDES, Answers, Assessment, Side, day_of
from limbtier.domain.episode import PATTERN as EPISODE_PATTERN
from limbtier.domain.episode import episode_problem
from limbtier.engine.episode_completion import Completing
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean, pointer
from limbtier.foundation.errors import InvalidAssessment

NATIONS: Final = ("england", "wales", "scotland", "northern_ireland")
"""The calendars that every deployment has; it may add those of its teams."""
EDITION_PATTERN = r"^[a-z][a-z0-9_]{0,40}-[0-9]{4}\.[0-9]{1,4}\.[0-9]{1,4}$"
MOMENT_PATTERN = (
    r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,6})?)?(Z|[+-][0-9]{2}:[0-9]{2})$"
)
DECISION_ID_PATTERN = "^[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$"
CONFIRMED_PATTERN = "^((left|right)/)?[a-z]+(-[a-z]+)*$"
_MOMENT = re.compile(MOMENT_PATTERN.removesuffix("$") + r"\Z")


# A default that no caller can send: a field left out is absent, and null is refused like any wrong type.
_ABSENT: Any = None


class Limbs(BaseModel):
    """The legs assessed; a leg that was not assessed is left out."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)

    left: dict[str, Any] = Field(default=_ABSENT, description="Answers about the left leg.")
    right: dict[str, Any] = Field(default=_ABSENT, description="Answers about the right leg.")


class AssessmentRequest(BaseModel):
    """One contact: the person and one or both legs, asked about in the words of the vocabulary."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)

    assessed_at: Annotated[
        str,
        Field(
            pattern=MOMENT_PATTERN,
            description="The moment of the contact, with its offset from UTC.",
            examples=["2026-03-02T09:30:00+00:00"],
        ),
    ]
    calendar: Annotated[
        str,
        Field(description="Whose working days count for due dates: a nation's or a team's."),
    ]
    episode: Annotated[
        str,
        Field(
            pattern=EPISODE_PATTERN,
            description="A pseudonym that groups contacts of one person. Never a national patient number.",
        ),
    ] = _ABSENT
    edition: Annotated[
        str,
        Field(pattern=EDITION_PATTERN, description="The edition to decide by; the active one when left out."),
    ] = _ABSENT
    corrects: Annotated[
        str,
        Field(
            pattern=DECISION_ID_PATTERN,
            max_length=36,
            description="A decision of the episode that this one corrects; it counts no longer.",
        ),
    ] = _ABSENT
    confirmed: Annotated[
        list[Annotated[str, Field(pattern=CONFIRMED_PATTERN, max_length=60)]],
        Field(
            max_length=20,
            description="What was asked about and is right all the same, in the words of the problem.",
        ),
    ] = _ABSENT
    person: Annotated[dict[str, Any], Field(description="Answers about the person.")]
    limbs: Annotated[Limbs, Field(description="Answers about each leg.")]


EditionFor = Callable[[str | None, datetime], PreparedEdition | None]


def read_assessment(
    value: Any,
    edition_for: EditionFor,
    calendars: Collection[str] = NATIONS,
    *,
    form: bool = False,
    completing: Completing | None = None,
) -> tuple[Assessment, PreparedEdition]:
    """The assessment, and the edition that decides it. `edition_for` finds an edition by its id, or the
    active one at a moment for None; `calendars` are the names known. In a `form` that is being filled in, a
    leg may have no answer yet. `completing` fills in what is known of an episode. Raises InvalidAssessment
    that names every bad field at once."""
    if not isinstance(value, dict):
        raise InvalidAssessment(
            [Diagnostic("wrong-type", "The request is no object.", "Send one object.", "")]
        )
    found: list[Diagnostic] = []
    try:
        request: AssessmentRequest | None = AssessmentRequest.model_validate(value)
    except ValidationError as error:
        request = None
        found += [_diagnostic(dict(item)) for item in error.errors(include_url=False, include_context=False)]
    moment = _moment(value.get("assessed_at"), found)
    episode = value.get("episode")
    if isinstance(episode, str) and (problem := episode_problem(episode)) is not None:
        found = [item for item in found if item.pointer != "/episode"]
        found.append(Diagnostic(*problem, pointer("episode")))
    if isinstance(name := value.get("calendar"), str):
        _refuse_unknown_calendar(name, calendars, found)
    prepared = _edition(value.get("edition"), moment, edition_for, found)
    person, limbs = _answers(value, prepared, moment, found, completing, form=form)
    errors = [item for item in found if item.severity == "error"]
    if errors or request is None or moment is None or prepared is None:
        raise InvalidAssessment(sorted(errors, key=lambda item: item.pointer or ""))
    warnings = tuple(item for item in found if item.severity == "warning")
    assessment = Assessment(
        moment, request.calendar, request.episode, request.edition, person, limbs, value, warnings
    )
    return assessment, prepared


def _moment(value: Any, found: list[Diagnostic]) -> datetime | None:
    """The moment, when its text has the right shape; a shape that is wrong has been named already."""
    if not isinstance(value, str) or not _MOMENT.match(value):
        return None
    try:
        moment = datetime.fromisoformat(value)
        if not 1900 <= moment.year <= 9998:
            raise ValueError(value)
    except ValueError:
        advice = "Give a day and a time that exist, such as 2026-03-02T09:30:00+00:00."
        found.append(
            Diagnostic("impossible-date", "`assessed_at` is no moment.", advice, pointer("assessed_at"))
        )
        return None
    return moment


def _refuse_unknown_calendar(name: str, calendars: Collection[str], found: list[Diagnostic]) -> None:
    if name in calendars:
        return
    shown = "".join(letter if letter.isprintable() else "?" for letter in name[:60])
    advice = did_you_mean(name[:60], calendars, f"Use {', '.join(calendars)}.")
    found.append(
        Diagnostic("unknown-choice", f"There is no calendar `{shown}`.", advice, pointer("calendar"))
    )


def _edition(
    name: Any, moment: datetime | None, edition_for: EditionFor, found: list[Diagnostic]
) -> PreparedEdition | None:
    if name is not None and not isinstance(name, str):
        return edition_for(None, moment or datetime.now().astimezone())
    prepared = edition_for(name, moment or datetime.now().astimezone())
    if prepared is None and not any(item.pointer == "/edition" for item in found):
        advice = "Leave `edition` out for the active one, or list the editions to see their ids."
        message = "No edition was in force then." if name is None else "There is no such edition."
        found.append(Diagnostic("unknown-edition", message, advice, pointer("edition")))
    return prepared


def _answers(
    value: dict[str, Any],
    prepared: PreparedEdition | None,
    moment: datetime | None,
    found: list[Diagnostic],
    completing: Completing | None,
    *,
    form: bool,
) -> tuple[Answers, dict[Side, Answers]]:
    """The answers of the person and of each leg; what is wrong with them is added to `found`."""
    if prepared is None:
        return {}, {}
    day = None if moment is None else day_of(moment)
    given = value.get("person")
    person, problems = prepared.answers.read(
        given if isinstance(given, dict) else {}, "person", ["person"], day
    )
    found += problems
    if completing is not None:
        completing.person(prepared.answers, person)
    found += prepared.answers.complete(person, "person", {}, ["person"])
    limbs: dict[Side, Answers] = {}
    legs = value.get("limbs")
    if not isinstance(legs, dict):
        return person, limbs
    for side in SIDES:
        leg = legs.get(side)
        if not isinstance(leg, dict):
            continue
        if not leg and not form:
            advice = "Answer at least one question about the leg, or leave the leg out."
            found.append(
                Diagnostic("empty-limb", f"The {side} leg has no answer.", advice, pointer("limbs", side))
            )
        answers, problems = prepared.answers.read(leg, "limb", ["limbs", side], day)
        found += problems
        if completing is not None:
            completing.limb(prepared.answers, side, answers, person)
        found += prepared.answers.complete(answers, "limb", person, ["limbs", side])
        limbs[side] = answers
    if not limbs and not legs.keys() & set(SIDES):
        advice = "Give `left`, `right` or both."
        found.append(Diagnostic("no-limb", "No leg was assessed.", advice, pointer("limbs")))
    found += completing.finish() if completing is not None else ()
    return person, limbs


_HELP = {
    "missing": ("missing-field", "`{name}` is missing.", "Give it; see the request's schema."),
    "extra_forbidden": ("unknown-field", "There is no field `{name}`.", "{close}"),
    "string_pattern_mismatch": ("bad-format", "`{name}` has the wrong form.", "{format}"),
}
_FORMATS = {
    "assessed_at": "Write date, time and offset, such as 2026-03-02T09:30:00+00:00.",
    "calendar": "Name a nation, such as england, or a team that has a calendar here.",
    "episode": "Use 1 to 64 letters, digits, and . _ ~ - beginning with a letter.",
    "corrects": "Give the id of the decision, as it was answered.",
    "confirmed": "Give a list of the words that the problem names, such as left/area-out-of-step.",
    "edition": "Write set and version, such as core-2026.1.0.",
    "person": "Give an object of answers; it may be empty.",
    "limbs": "Give an object with `left`, `right` or both.",
    "left": "Give an object of answers, or leave the leg out.",
    "right": "Give an object of answers, or leave the leg out.",
}


def _diagnostic(error: dict[str, Any]) -> Diagnostic:
    """One fault of the envelope, in our own words."""
    steps = error["loc"]
    name = str(steps[-1])[:60] if steps else "request"
    fields = AssessmentRequest.model_fields if len(steps) < 2 else Limbs.model_fields
    code, message, advice = _HELP.get(
        error["type"], ("wrong-type", "`{name}` has the wrong type.", "{format}")
    )
    words = {
        "name": "".join(letter if letter.isprintable() else "?" for letter in name),
        "close": did_you_mean(name, fields, "Leave it out."),
        "format": _FORMATS.get(name, "See the request's schema."),
    }
    return Diagnostic(code, message.format(**words), advice.format(**words), pointer(*steps))
