"""Rules as sentences: when a rule applies and what it concludes, in the words of its edition."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.domain.edition import DatedValue, Edition, Setting
from limbtier.domain.interval import Interval, Within
from limbtier.domain.rule import Arrange, Rule
from limbtier.governance.document import Inline, Line, Name, Strong, joined


@dataclass(frozen=True, slots=True)
class Sentences:
    """Writes conditions and conclusions in the words of one edition."""

    edition: Edition

    def when(self, condition: Condition) -> Line:
        """A condition as a clause, without a full stop."""
        return self._clause(condition, whole=True)

    def then(self, rule: Rule) -> tuple[Line, ...]:
        """A sentence for each thing that a rule concludes."""
        return tuple(self._conclusions(rule))

    def by_when(self, within: Within) -> Line:
        """By when, in words: an interval, or a setting with its values."""
        if isinstance(within, Interval):
            return _by_when(within)
        setting = self.edition.settings.get(within.setting)
        values = setting_values(setting) if setting else ()
        return ("within ", *joined(values, ", then "), " (setting ", Name(within.setting), ")")

    # ---- conditions ----------------------------------------------------------------------------------------

    def _clause(self, condition: Condition, whole: bool = False) -> Line:
        match condition:
            case ValueTest():
                return self._value_test(condition)
            case EdgeTest():
                return self._edge_test(condition)
            case AllOf(parts):
                return joined((self._clause(part) for part in parts), ", and ") if parts else ("always",)
            case AnyOf(parts):
                return _group("at least one of: ", [self._clause(part) for part in parts], whole)
            case NoneOf(parts):
                return _group("none of: ", [self._clause(part) for part in parts], whole)

    def _value_test(self, test: ValueTest) -> Line:
        fact = self.edition.vocabulary.facts.get(test.name)
        if fact is not None:
            holds = "holds" if test.values == ("yes",) else "does not hold"
            return (f"“{_short(fact.title)}” {holds if len(test.values) == 1 else 'holds or does not hold'}",)
        values: list[Line] = [(Strong(_words(value)),) for value in test.values]
        return (self._called(test.name), " is ", *joined(values, " or "))

    def _edge_test(self, test: EdgeTest) -> Line:
        unit = self._unit(test.name)
        edges = (
            ("at least", test.at_least),
            ("above", test.above),
            ("at most", test.at_most),
            ("below", test.below),
        )
        found: list[Line] = [
            (f"{word} ", Strong(f"{number_text(edge)}{unit}")) for word, edge in edges if edge is not None
        ]
        return (self._called(test.name), " is ", *joined(found, " and "))

    def _called(self, name: str) -> str:
        measure = self.edition.vocabulary.measures.get(name)
        if measure is not None:
            short = _short(measure.title)
            return short[:1].lower() + short[1:]
        asked = self.edition.vocabulary.inputs.get(name)
        if asked is not None and asked.unit:
            return _words(name.removesuffix(f"_{asked.unit.lower()}"))
        return _words(name)

    def _unit(self, name: str) -> str:
        of_name = self.edition.vocabulary.measures.get(name) or self.edition.vocabulary.inputs.get(name)
        return f" {of_name.unit}" if of_name is not None and of_name.unit else ""

    # ---- conclusions ---------------------------------------------------------------------------------------

    def _conclusions(self, rule: Rule) -> Iterator[Line]:
        then, edition = rule.then, self.edition
        if then.propose:
            yield ("Head for ", Strong(self._tier(then.propose)), " unless a limit holds the leg lower.")
        if then.limit:
            lift = edition.vocabulary.lifts.get(then.limit.until or "")
            until = f", until {lift.title}" if lift else ""
            yield ("No tier above ", Strong(self._tier(then.limit.tier)), f"{until}.")
        if then.review:
            yield ("Look again ", *self.by_when(then.review), ".")
        for entry in then.arrange:
            yield self._arranged(entry)
        for name in then.classify:
            yield (f"Counts as “{_short(edition.vocabulary.facts[name].title)}”.",)
        for word, names in (("Fits: ", then.choose), ("Out: ", then.avoid)):
            if names:
                yield (word, "; ".join(edition.materials[name].title for name in names), ".")
        for sentence in then.caution:
            yield (Strong("Caution:"), f" {sentence}")
        shown = self._shown_with(rule)
        for sentence in then.instruct:
            yield (Strong(f"Technique{shown}:"), f" {sentence}")

    def _arranged(self, entry: Arrange) -> Line:
        titles = self.edition.arrangements
        before = "; ".join(titles[name].title for name in entry.before)
        after: Line = (f", before: {before}.",) if before else (".",)
        return ("Arrange ", *self.by_when(entry.within), f": {titles[entry.what].title}", *after)

    def _shown_with(self, rule: Rule) -> str:
        tiers = " or ".join(self._tier(name) for name in rule.then.instruct_at)
        materials = "; or ".join(self.edition.materials[name].title for name in rule.then.instruct_with)
        at, with_ = f" at {tiers}" if tiers else "", f" with {materials}" if materials else ""
        return f"{at}{with_}"

    def _tier(self, name: str) -> str:
        return next((tier.title.lower() for tier in self.edition.tiers if tier.name == name), name)


def setting_values(setting: Setting) -> tuple[Line, ...]:
    """Each value of a setting with the days on which it holds, where these are told."""
    several = len(setting.values) > 1
    return tuple(_dated(value, several) for value in setting.values)


def _dated(dated: DatedValue, several: bool) -> Line:
    value = str(dated.value) if isinstance(dated.value, Interval) else number_text(dated.value)
    if not several:
        return (Strong(value),)
    until = f" until {dated.effective_to}" if dated.effective_to else ""
    return (Strong(value), f" from {dated.effective_from}{until}")


def number_text(number: Fraction) -> str:
    """A number of a rule file as it is written there."""
    if number.denominator == 1:
        return str(number.numerator)
    places = next((digits for digits in range(1, 18) if (number * 10**digits).denominator == 1), 6)
    return f"{float(number):.{places}f}"


def _by_when(interval: Interval) -> Line:
    match interval.kind:
        case "immediately":
            return (Strong("immediately"),)
        case "same_day":
            return ("on the ", Strong("same day"))
        case _:
            return ("within ", Strong(str(interval)))


def _group(lead: str, parts: list[Line], whole: bool) -> Line:
    found: tuple[Inline, ...] = (lead, *joined(parts, "; "))
    return found if whole else ("(", *found, ")")


def _words(name: str) -> str:
    return name.replace("_", " ")


def _short(title: str) -> str:
    """A title without what stands in brackets."""
    return re.sub(r" *\([^()]*\)", "", title).strip() or title
