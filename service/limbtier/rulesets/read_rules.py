"""Reads the rules of one topic: what each tests, what it concludes, why, and on what it rests."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from limbtier.domain.condition import ALWAYS
from limbtier.domain.edition import Setting
from limbtier.domain.interval import Interval, SettingReference, Within
from limbtier.domain.rule import Arrange, Conclusions, Limit, Rule
from limbtier.rulesets import intervals
from limbtier.rulesets.findings import Findings, Place, Placed
from limbtier.rulesets.names import Names, Testable, distinct
from limbtier.rulesets.nodes import MappingNode, Node
from limbtier.rulesets.read_conditions import condition_reference, read_condition
from limbtier.rulesets.records import AsWritten, Fields, Key, ListOf, Record
from limbtier.rulesets.shapes import Identifier, IntervalText, NameUsed, Schema, Text, word_list

SETTING: Final = Key("setting", NameUsed, "the name of a setting that is an interval", required=True)
SETTING_REFERENCE: Final = Record("a setting", (SETTING,))


@dataclass(frozen=True, slots=True)
class WithinText:
    """An interval, or a setting by name; a setting is returned as its name."""

    review: bool = False

    def read(self, node: Node, label: str, found: Findings) -> Placed[Interval | Placed[str]] | None:
        """The interval, or the placed name of a setting."""
        if not isinstance(node, MappingNode):
            interval = IntervalText(self.review).read(node, label, found)
            return Placed(interval.value, interval.place) if interval else None
        fields = SETTING_REFERENCE.read(node, label, found)
        name = fields.get(SETTING) if fields else None
        return Placed(name, name.place) if name else None

    def schema(self) -> Schema:
        """Either form."""
        return {"anyOf": [IntervalText(self.review).schema(), SETTING_REFERENCE.schema()]}


PROPOSE: Final = Key(
    "propose", NameUsed, "the tier that the leg is treated with unless a limit holds it lower"
)
LIMIT_TIER: Final = Key("tier", NameUsed, "no tier above this one", required=True)
UNTIL: Final = Key("until", NameUsed, "what can lift the limit; without it only the rule's own answers can")
LIMIT: Final = Key("limit", Record("a limit", (LIMIT_TIER, UNTIL)), "the highest tier")
REVIEW_WITHIN: Final = Key(
    "within", WithinText(review=True), "the longest until somebody looks again", required=True
)
REVIEW: Final = Key("review", Record("a review", (REVIEW_WITHIN,)), "when somebody must look again")
WHAT: Final = Key("what", NameUsed, "the arrangement", required=True)
WITHIN: Final = Key("within", WithinText(), "by when", required=True)
BEFORE: Final = Key("before", ListOf(NameUsed, or_one=True), "other arrangements that come after this one")
ARRANGEMENT: Final = Record("an arrangement", (WHAT, WITHIN, BEFORE))
ARRANGE: Final = Key("arrange", ListOf(ARRANGEMENT, or_one=True), "what to arrange")
CLASSIFY: Final = Key(
    "classify", ListOf(NameUsed, or_one=True), "the derived fact that is `yes` when the rule applies"
)
CHOOSE: Final = Key("choose", ListOf(NameUsed, or_one=True), "materials that fit")
AVOID: Final = Key("avoid", ListOf(NameUsed, or_one=True), "materials that are out")
CAUTION: Final = Key(
    "caution", ListOf(Text(), or_one=True), "sentences shown when the rule applies or may apply"
)
INSTRUCT: Final = Key(
    "instruct", ListOf(Text(), or_one=True), "sentences on technique, shown when the rule applies"
)
INSTRUCT_AT: Final = Key(
    "instruct_at", ListOf(NameUsed, or_one=True), "the tiers at which `instruct` is shown; all if not given"
)
INSTRUCT_WITH: Final = Key(
    "instruct_with", ListOf(NameUsed, or_one=True), "materials of which one must be chosen to show `instruct`"
)
CONCLUSIONS: Final = Record(
    "a conclusion",
    (
        PROPOSE,
        LIMIT,
        REVIEW,
        ARRANGE,
        CLASSIFY,
        CHOOSE,
        AVOID,
        CAUTION,
        INSTRUCT,
        INSTRUCT_AT,
        INSTRUCT_WITH,
    ),
)

ID: Final = Key("id", Identifier, "its id, in small letters, digits and -", required=True)
TITLE: Final = Key("title", Text(), "what people call it", required=True)
WHEN: Final[Key[Node]] = Key(
    "when", AsWritten(condition_reference), "the tests that must all hold", required=True
)
THEN: Final = Key("then", CONCLUSIONS, "what follows", required=True)
BECAUSE: Final = Key("because", Text(), "the reason, in one or two plain sentences", required=True)
SOURCES: Final = Key("sources", ListOf(Identifier), "ids of sources", required=True)
RULE: Final = Record("a rule", (ID, TITLE, WHEN, THEN, BECAUSE, SOURCES))
TOPIC: Final = Key("topic", Text(), "the heading of these rules", required=True)
RULES: Final = Key("rules", ListOf(RULE), "the rules of the topic", required=True)
RULES_FILE: Final = Record("the file", (TOPIC, RULES))


@dataclass(slots=True)
class EditionNames:
    """Every name that rules, cases and guard rails may use."""

    testable: Names[Testable]
    tiers: Names[bool]
    lifts: Names[tuple[str, ...]]
    settings: Names[Setting | None]
    arrangements: Names[bool]
    materials: Names[bool]
    sources: Names[bool]
    rules: Names[bool] = field(default_factory=lambda: Names("rule"))


@dataclass(frozen=True, slots=True)
class RuleRead:
    """A rule with the places that later checks name. Parts that were refused are empty; `when_sound` and
    `classify_sound` say whether the tests and the facts classified could be read, `of_base` whether it was
    taken over as it is."""

    rule: Rule
    place: Place
    until: Place
    classify: Mapping[str, Place]
    when_sound: bool
    classify_sound: bool
    arranges: bool
    of_base: bool = False


def read_rules(root: Node | None, names: EditionNames, found: Findings) -> list[RuleRead]:
    """The rules of one file, in the order written; without an unreadable one the rule ids are complete."""
    fields = RULES_FILE.read(root, "The file", found) if root is not None else None
    listed = fields.get(RULES) if fields else None
    if fields is None or listed is None:
        names.rules.complete = False
        return []
    topic = fields.get(TOPIC)
    rules: list[RuleRead] = []
    for entry in listed.value:
        if (read := read_rule(entry, topic.value if topic else "", names, found)) is not None:
            names.rules.give(Placed(read.rule.id, read.place), True, found, "duplicate-id")
            rules.append(read)
        else:
            names.rules.complete = False
    names.rules.complete = names.rules.complete and not listed.lost
    return rules


def read_rule(entry: Fields, topic: str, names: EditionNames, found: Findings) -> RuleRead | None:
    """One rule, its id not yet recorded; None when it has none."""
    rule_id, title, because = entry.get(ID), entry.get(TITLE), entry.get(BECAUSE)
    then, node = entry.get(THEN), entry.get(WHEN)
    when = read_condition(node, names.testable, "`when`", found) if node is not None else None
    conclusions = _conclusions(then, names, found) if then else Conclusions()
    sources = names.sources.all_of(entry.get(SOURCES), found)
    if rule_id is None:
        return None
    place = rule_id.place
    limit = then.get(LIMIT) if then else None
    classified = then.get(CLASSIFY) if then else None
    rule = Rule(
        rule_id.value,
        title.value if title else "",
        when if when is not None else ALWAYS,
        conclusions,
        because.value if because else "",
        sources,
        topic,
        place.file,
        place.line,
    )
    return RuleRead(
        rule=rule,
        place=place,
        until=limit.place_of(UNTIL) if limit else place,
        classify={word.value: word.place for word in classified.value} if classified else {},
        when_sound=when is not None,
        classify_sound=_classify_sound(then),
        arranges=then is None or then.wrote(ARRANGE),
    )


def _classify_sound(then: Fields | None) -> bool:
    """Whether the facts that a rule classifies, or that it classifies none, can be told."""
    if then is None or not then.written:
        return False
    classified = then.get(CLASSIFY)
    return classified.whole if classified else not then.wrote(CLASSIFY)


def _conclusions(then: Fields, names: EditionNames, found: Findings) -> Conclusions:
    if not then.written and then.whole:
        advice = f"Give what follows: one of {word_list(key.name for key in CONCLUSIONS.keys)}."
        found.add("no-conclusion", then.place, "The rule concludes nothing.", advice)
    for qualifier in (INSTRUCT_AT, INSTRUCT_WITH):
        if then.wrote(qualifier) and not then.wrote(INSTRUCT):
            message = f"`{qualifier.name}` says when `instruct` is shown, and there is no `instruct`."
            found.add("missing-key", then.place_of(qualifier), message, "Add `instruct`, or take it out.")
    propose, review = then.get(PROPOSE), then.get(REVIEW)
    if propose:
        names.tiers.find(propose, found)
    facts = then.get(CLASSIFY)
    chosen, avoided = (
        names.materials.all_of(then.get(CHOOSE), found),
        names.materials.all_of(then.get(AVOID), found),
    )
    for material in sorted({*chosen} & {*avoided}):
        message = f"`{material}` is chosen and avoided by the same rule."
        found.add("chosen-and-avoided", then.place_of(AVOID), message, "Take it out of one of the two.")
    caution, instruct = then.get(CAUTION), then.get(INSTRUCT)
    return Conclusions(
        propose=propose.value if propose else None,
        limit=_limit(then, names, found),
        review=_within(review.get(REVIEW_WITHIN), names, found, review=True) if review else None,
        arrange=_arrange(then, names, found),
        classify=_facts(facts, names, found),
        choose=chosen,
        avoid=avoided,
        caution=tuple(sentence.value for sentence in caution.value) if caution else (),
        instruct=tuple(sentence.value for sentence in instruct.value) if instruct else (),
        instruct_at=names.tiers.all_of(then.get(INSTRUCT_AT), found),
        instruct_with=names.materials.all_of(then.get(INSTRUCT_WITH), found),
    )


def _limit(then: Fields, names: EditionNames, found: Findings) -> Limit | None:
    limit = then.get(LIMIT)
    if limit is None:
        return None
    tier, until = limit.get(LIMIT_TIER), limit.get(UNTIL)
    if until:
        names.lifts.find(until, found)
    if tier:
        names.tiers.find(tier, found)
    return Limit(tier.value if tier else "", until.value if until else None)


def _within(
    within: Placed[Interval | Placed[str]] | None, names: EditionNames, found: Findings, review: bool = False
) -> Within | None:
    if within is None:
        return None
    if isinstance(within.value, Interval):
        return within.value
    name = within.value
    setting = names.settings.find(name, found)
    for dated in setting.values if setting is not None else ():
        if not isinstance(dated.value, Interval):
            message = f"The setting `{name.value}` is a number, not an interval."
            found.add("setting-kind", name.place, message, "Use a setting that is an interval, or write one.")
            break
        if review and not intervals.fits_review(dated.value):
            message = f"The setting `{name.value}` is `{dated.value}`, and a review cannot be set by it."
            found.add("review-interval", name.place, message, intervals.HOW_TO_REVIEW)
            break
    return SettingReference(name.value)


def _arrange(then: Fields, names: EditionNames, found: Findings) -> tuple[Arrange, ...]:
    listed = then.get(ARRANGE)
    arrangements: list[Arrange] = []
    for entry in listed.value if listed else ():
        what, within = entry.get(WHAT), _within(entry.get(WITHIN), names, found)
        if what:
            names.arrangements.find(what, found)
        before = names.arrangements.all_of(entry.get(BEFORE), found)
        if what and what.value in before:
            message = f"`{what.value}` cannot come before itself."
            found.add(
                "arranged-before-itself", entry.place_of(BEFORE), message, "Name the others that wait for it."
            )
        if what and within is not None:
            arrangements.append(Arrange(what.value, within, before))
    distinct([what for entry in (listed.value if listed else ()) if (what := entry.get(WHAT))], found)
    return tuple(arrangements)


def _facts(
    used: Placed[tuple[Placed[str], ...]] | None, names: EditionNames, found: Findings
) -> tuple[str, ...]:
    """Names of derived facts; an input or a measure cannot be classified."""
    if used is None:
        return ()
    for word in used.value:
        known = names.testable.find(word, found)
        if known is not None and not known.is_fact:
            message = f"`{word.value}` is no derived fact: it is asked or computed."
            found.add(
                "not-a-fact",
                word.place,
                message,
                "Classify a fact that `vocabulary.yaml` lists under `facts`.",
            )
    return distinct(used.value, found)
