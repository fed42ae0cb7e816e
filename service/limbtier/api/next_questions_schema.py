"""The schema of the next questions of a form, member by member as `use_cases/next_questions.py` writes it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from limbtier.api.schema_types import Described, Line, Name, Names, Tier, Words, left_out

Side = Literal["left", "right"]


class Asked(Described):
    """A question: the input, and the leg it is asked about."""

    input: Name
    limb: Annotated[Side | None, Field(description="Null for a question about the person.")]


class WordedQuestion(Asked):
    """A question in words."""

    question: Words
    group: Line
    danger_sign: Annotated[bool, Field(description="Whether it asks for a danger sign.")]


class Settles(Described):
    """How many of the open questions an answer closes, itself among them."""

    at_least: Annotated[int, Field(ge=1, le=1000, description="By the answer that closes fewest.")]
    at_most: Annotated[int, Field(ge=1, le=1000, description="By the answer that closes most.")]


class NextQuestion(WordedQuestion):
    """An unanswered question that could still move the tier, the target, the disposition or the review."""

    after: Annotated[
        Names, Field(description="Unanswered inputs that say whether it is asked; ask these first.")
    ]
    settles: Annotated[Settles | None, Field(description="Null while it cannot be asked yet.")]


class FurtherQuestion(WordedQuestion):
    """An unanswered question that moves none of these and could change another part of the decision."""

    changes: Annotated[
        list[Literal["arrangements", "cautions", "materials", "step_up_plan", "technique"]],
        Field(min_length=1, max_length=5),
    ]


class LegTiers(Described):
    """The tier of each leg asked about."""

    left: Tier = left_out()
    right: Tier = left_out()


class ShortestSet(Described):
    """The fewest questions found whose ordinary answers settle the tier, the disposition and the review."""

    starting_point: Annotated[
        Line, Field(description="The starting point of the edition's worked cases that has these answers.")
    ]
    questions: Annotated[list[Asked], Field(max_length=1000)]
    tiers: Annotated[LegTiers, Field(description="The tiers that it comes to.")]


class NextQuestions(Described):
    """What a form should ask next. The tiers that are left are in the `range` of each leg."""

    questions: Annotated[
        list[NextQuestion],
        Field(max_length=1000, description="Danger signs first, then whatever can settle most."),
    ]
    further_questions: Annotated[list[FurtherQuestion], Field(max_length=1000)]
    no_longer_matter: Annotated[
        list[Asked],
        Field(max_length=1000, description="Unanswered questions to which no answer changes the decision."),
    ]
    shortest_set: Annotated[
        ShortestSet | None, Field(description="Null when no starting point settles what is open.")
    ]
    note: Words
