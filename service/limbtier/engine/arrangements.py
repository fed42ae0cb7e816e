"""What has to be arranged, by when, and in which order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from limbtier.domain.assessment import Answers
from limbtier.domain.decision import Arrangement, Disposition
from limbtier.engine.due_dates import Days
from limbtier.engine.interpreter import APPLIES, UNDETERMINED
from limbtier.engine.prepared import Counting, PreparedEdition
from limbtier.engine.tiers import TierRange


@dataclass(slots=True)
class _Asked:
    due_on: date
    within: str
    rules: list[str]
    after: set[str]


def arrangements(
    prepared: PreparedEdition,
    counting: Counting,
    facts: Answers,
    tiers: TierRange,
    outcome: Disposition,
    days: Days,
) -> tuple[Arrangement, ...]:
    """Every arrangement whose rule applies, at its earliest deadline; then those still pending: not asked
    for yet, or asked for later than an undetermined rule would.

    Where a leg stays at the lowest tier above withholding, whatever would lift the limits that hold it
    there is chased by the edition's chase deadline.
    """
    asked: dict[str, _Asked] = {}
    pending: dict[str, list[tuple[date, int]]] = {}
    chase = days.settings.intervals["chase_deadline"]
    arranges = days.settings.arranges
    chased = outcome == "continue" and tiers.given == 1
    first: list[tuple[str, tuple[str, ...]]] = []
    for place, state in counting.items():
        wanted = arranges[place]
        if not wanted:
            continue
        if state == UNDETERMINED:
            for arrange in wanted:
                due_on = days.due(days.counted(arrange.within))
                pending.setdefault(arrange.what, []).append((due_on, place))
            continue
        holds = chased and prepared.limits[place] == tiers.given and not prepared.lasts[place]
        for arrange in wanted:
            within = days.counted(arrange.within)
            due_on = days.due(within)
            words = arrange.words if within is arrange.within else str(within)
            if holds and (sooner := days.due(chase)) < due_on:
                due_on, words = sooner, str(chase)
            entry = asked.get(arrange.what)
            if entry is None:
                entry = asked[arrange.what] = _Asked(due_on, words, [], set())
            elif due_on < entry.due_on:
                entry.due_on, entry.within = due_on, words
            entry.rules.append(prepared.rule_ids[place])
            if arrange.before:
                first.append((arrange.what, arrange.before))
    for what, later in first:
        for name in later:
            if name in asked and name != what:
                asked[name].after.add(what)
    due = [
        Arrangement(
            what, entry.due_on, entry.within, tuple(entry.rules), tuple(sorted(entry.after)), False, ()
        )
        for what, entry in sorted(asked.items(), key=_day_and_name)
    ]
    waiting = [
        _pending(prepared, what, places, facts)
        for what, found in sorted(pending.items())
        if (places := [place for day, place in found if what not in asked or day < asked[what].due_on])
    ]
    return (*due, *waiting)


def _day_and_name(item: tuple[str, _Asked]) -> tuple[date, str]:
    return item[1].due_on, item[0]


def _pending(prepared: PreparedEdition, what: str, places: list[int], facts: Answers) -> Arrangement:
    rules = tuple(prepared.rule_ids[place] for place in places)
    unanswered = {name for place in places for name in prepared.inputs_of_rule[place] if name not in facts}
    questions = tuple(sorted(unanswered, key=prepared.input_order.__getitem__))
    return Arrangement(what, None, "", rules, (), True, questions)


def deadline_of_rule(
    prepared: PreparedEdition, limiting: Counting, due: tuple[Arrangement, ...]
) -> Mapping[str, date]:
    """For each rule that applies, of those that limit: the earliest combined deadline of what it arranges."""
    by_name = {arrangement.what: arrangement.due_on for arrangement in due if arrangement.due_on is not None}
    found = {}
    for place, state in limiting.items():
        arranged = prepared.edition.rules[place].then.arrange
        if arranged and state == APPLIES:
            found[prepared.rule_ids[place]] = min([by_name[arrange.what] for arrange in arranged])
    return found
