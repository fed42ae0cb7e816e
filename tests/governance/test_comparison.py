"""What is written differently in two editions is named part by part, with old and new in words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from fractions import Fraction
from typing import Any

import orjson
import pytest

from limbtier.domain.condition import AllOf, EdgeTest, ValueTest
from limbtier.domain.edition import ArrangementWords, Change, DatedValue, Edition, Source
from limbtier.domain.interval import Interval
from limbtier.domain.rule import Limit, Rule
from limbtier.domain.vocabulary import Choice, DerivedFact, Lift, MeasureWords
from limbtier.engine.prepared import PreparedEdition
from limbtier.governance.comparison import EditionComparison, PartChange, compare_editions
from limbtier.governance.comparison_text import (
    comparison_document,
    comparison_record,
    comparison_text,
    summary,
)
from limbtier.governance.described_parts import described
from limbtier.governance.document import html, markdown
from limbtier.use_cases.decide import ReadyRules

Edit = Callable[[Edition], Edition]


@pytest.fixture(scope="module")
def edition(core: PreparedEdition) -> Edition:
    return core.edition


def plain(change: PartChange) -> dict[str, tuple[str | None, str | None]]:
    """The aspects of a change as plain text, old and new."""

    def text(lines: Any) -> str | None:
        if lines is None:
            return None
        return " / ".join("".join(p if isinstance(p, str) else p.text for p in line) for line in lines)

    return {one.aspect: (text(one.before), text(one.after)) for one in change.aspects}


def rule_of(edition: Edition, name: str) -> Rule:
    return next(rule for rule in edition.rules if rule.id == name)


def with_rule(edition: Edition, name: str, **changes: Any) -> Edition:
    rules = tuple(replace(rule, **changes) if rule.id == name else rule for rule in edition.rules)
    return replace(edition, rules=rules)


def with_input(edition: Edition, name: str, **changes: Any) -> Edition:
    inputs = dict(edition.vocabulary.inputs)
    inputs[name] = replace(inputs[name], **changes)
    return replace(edition, vocabulary=replace(edition.vocabulary, inputs=inputs))


def with_words(edition: Edition, part: str, name: str, entry: object) -> Edition:
    entries = {**getattr(edition.vocabulary, part), name: entry}
    return replace(edition, vocabulary=replace(edition.vocabulary, **{part: entries}))


def with_entry(edition: Edition, part: str, name: str, **changes: Any) -> Edition:
    entries = dict(getattr(edition, part))
    entries[name] = replace(entries[name], **changes)
    changed: dict[str, Any] = {part: entries}
    return replace(edition, **changed)


NEW_SETTING = (DatedValue(Interval("hours", 48), date(2026, 1, 1), None),)
# Each edit, and the one change that must be told: part, act, name, and the aspects with old and new.
EDITS: list[tuple[Edit, tuple[str, str, str], dict[str, tuple[str | None, str | None]]]] = [
    (
        lambda one: replace(one, review_by=date(2028, 1, 1), guard_rails="1.1.0"),
        ("edition", "changed", "edition"),
        {"to be looked at again by": ("2027-01-01", "2028-01-01"), "guard rails": ("1.0.0", "1.1.0")},
    ),
    (
        lambda one: with_rule(one, "wet-review", because="Another reason."),
        ("rule", "changed", "wet-review"),
        {
            "because": (
                "A wet leg soaks its bandage quickly. It is looked at daily or every other day at first.",
                "Another reason.",
            )
        },
    ),
    (
        lambda one: with_rule(one, "critical-pressure", topic="Elsewhere", sources=("common-practice",)),
        ("rule", "changed", "critical-pressure"),
        {},
    ),
    (
        lambda one: with_rule(
            one,
            "not-measured-no-advice",
            then=replace(rule_of(one, "not-measured-no-advice").then, limit=Limit("support")),
        ),
        ("rule", "changed", "not-measured-no-advice"),
        {},
    ),
    (
        lambda one: with_rule(
            one, "support-too-long", when=AllOf((EdgeTest("days_at_current_tier", at_least=Fraction(9)),))
        ),
        ("rule", "changed", "support-too-long"),
        {},
    ),
    (
        lambda one: replace(
            one,
            rules=(*one.rules, replace(rule_of(one, "wet-review"), id="wetter-review")),
            strata=(*one.strata, one.strata[-1]),
        ),
        ("rule", "added", "wetter-review"),
        {"title": (None, "Wet leg")},
    ),
    (
        lambda one: replace(one, rules=one.rules[1:], strata=one.strata[1:]),
        ("rule", "withdrawn", ""),
        {},
    ),
    (
        lambda one: with_entry(one, "settings", "review_change", values=NEW_SETTING),
        ("setting", "set anew", "review_change"),
        {"value": ("72 hours", "48 hours")},
    ),
    (
        lambda one: replace(
            one, tiers=(replace(one.tiers[0], review_within=Interval("days", 1)), *one.tiers[1:])
        ),
        ("tier", "changed", "withhold"),
        {"look again within": ("not set", "1 days")},
    ),
    (
        lambda one: with_input(one, "age_years", danger_sign=True, may_be_not_done=True),
        ("question", "changed", "age_years"),
        {"danger sign": ("no", "yes"), "may be not done": ("no", "yes")},
    ),
    (
        lambda one: with_input(
            one, "age_years", range=replace(one.vocabulary.inputs["age_years"].range, at_least=Fraction(18))
        ),
        ("question", "changed", "age_years"),
        {"refused outside": ("0 to 125", "18 to 125")},
    ),
    (
        lambda one: with_input(
            one,
            "mobility",
            choices=(
                *one.vocabulary.inputs["mobility"].choices,
                Choice("hoist", "Lifted.", "bed_or_chair_bound"),
            ),
        ),
        ("question", "changed", "mobility"),
        {},
    ),
    (
        lambda one: with_input(one, "diabetes", asked_when=ValueTest("acute_stroke", ("no",))),
        ("question", "changed", "diabetes"),
        {"asked when": ("always", "acute stroke is no")},
    ),
    (
        lambda one: with_words(one, "measures", "abpi", MeasureWords("abpi", "A ratio", None, 3)),
        ("measure", "changed", "abpi"),
        {"title": ("Ankle-brachial pressure index", "A ratio"), "decimal places": ("2", "3")},
    ),
    (
        lambda one: with_words(one, "facts", "new_fact", DerivedFact("new_fact", "A new fact")),
        ("named fact", "added", "new_fact"),
        {"title": (None, "A new fact")},
    ),
    (
        lambda one: with_words(one, "lifts", "tolerated", Lift("tolerated", "it is borne", ("progress",))),
        ("lift", "changed", "tolerated"),
        {},
    ),
    (
        lambda one: replace(
            one, arrangements={**one.arrangements, "new_visit": ArrangementWords("new_visit", "A visit")}
        ),
        ("arrangement", "added", "new_visit"),
        {"title": (None, "A visit")},
    ),
    (
        lambda one: with_entry(one, "materials", "paste_layer", tiers=("support",), width_cm=Fraction(15, 2)),
        ("material", "changed", "paste_layer"),
        {},
    ),
    (
        lambda one: replace(one, wording=replace(one.wording, provisional="Not final.")),
        ("wording", "changed", "provisional"),
        {},
    ),
    (
        lambda one: replace(one, wording=replace(one.wording, safety_net=one.wording.safety_net[1:])),
        ("wording", "changed", "safety_net"),
        {},
    ),
    (
        lambda one: replace(
            one,
            wording=replace(one.wording, dispositions={**one.wording.dispositions, "start": "begin"}),
        ),
        ("wording", "changed", "disposition start"),
        {"text": ("start compression at the tier given", "begin")},
    ),
    (
        lambda one: replace(
            one, sources={**one.sources, "new": Source("new", "A book", "memory", "All.", date(2026, 1, 1))}
        ),
        ("source", "added", "new"),
        {"how it is known": (None, "from memory, to be checked"), "looked at on": (None, "2026-01-01")},
    ),
    (
        lambda one: replace(
            one,
            cases=(replace(one.cases[0], expect={**one.cases[0].expect, "tier": "strong"}), *one.cases[1:]),
        ),
        ("worked case", "changed", ""),
        {},
    ),
    (lambda one: replace(one, cases=one.cases[:-1]), ("worked case", "withdrawn", ""), {}),
]


@pytest.mark.parametrize(
    ("edit", "told", "aspects"), EDITS, ids=lambda one: "-".join(one) if isinstance(one, tuple) else ""
)
def test_every_kind_of_change_is_named_with_old_and_new(
    edit: Edit,
    told: tuple[str, str, str],
    aspects: dict[str, tuple[str | None, str | None]],
    edition: Edition,
) -> None:
    comparison = compare_editions(edition, edit(edition))
    [change] = comparison.changes
    assert (change.part, change.act) == told[:2]
    assert change.name == (told[2] or change.name)
    assert comparison.of(change.part) == (change,)
    written = plain(change)
    assert written
    assert all(before != after for before, after in written.values())
    for aspect, texts in aspects.items():
        assert written[aspect] == texts
    # The other way round the same is told, with old and new exchanged.
    [back] = compare_editions(edit(edition), edition).changes
    opposite = {"added": "withdrawn", "withdrawn": "added"}
    assert (back.name, back.act) == (change.name, opposite.get(change.act, change.act))
    assert plain(back) == {aspect: texts[::-1] for aspect, texts in written.items()}


def test_an_edition_does_not_differ_from_itself_wherever_its_rules_stand(edition: Edition) -> None:
    moved = replace(edition, rules=tuple(replace(rule, file="x.yaml", line=1) for rule in edition.rules))
    comparison = compare_editions(edition, moved)
    assert comparison.changes == ()
    assert summary(comparison) == "Nothing that is written differs."


def test_all_parts_of_an_edition_are_described(edition: Edition) -> None:
    parts = described(edition)
    vocabulary = edition.vocabulary
    assert {part: len(entries) for part, entries in parts.items()} == {
        "edition": 1,
        "rule": len(edition.rules),
        "setting": len(edition.settings),
        "tier": len(edition.tiers),
        "question": len(vocabulary.inputs),
        "measure": len(vocabulary.measures),
        "named fact": len(vocabulary.facts),
        "lift": len(vocabulary.lifts),
        "arrangement": len(edition.arrangements),
        "material": len(edition.materials),
        "wording": 6 + len(edition.wording.dispositions),
        "source": len(edition.sources),
        "worked case": len(edition.cases),
    }
    for entries in parts.values():
        for one in entries.values():
            assert all(aspect.text for aspect in one.aspects.values())


def test_what_words_do_not_show_is_told_as_it_is_held(edition: Edition) -> None:
    third, nearly = (
        with_rule(edition, "wet-review", when=EdgeTest("abpi", below=edge))
        for edge in (Fraction(1, 3), Fraction(333333, 10**6))
    )
    [change] = compare_editions(third, nearly).changes
    [(aspect, (before, after))] = plain(change).items()
    assert aspect == "when"
    assert "Fraction(1, 3)" in (before or "")
    assert "Fraction(333333, 1000000)" in (after or "")


def test_a_change_of_a_rule_shows_condition_conclusion_and_sources_in_words(edition: Edition) -> None:
    rule = rule_of(edition, "support-too-long")
    changed = with_rule(
        edition,
        rule.id,
        when=AllOf(
            (EdgeTest("days_at_current_tier", at_least=Fraction(9)), ValueTest("progress", ("worse",)))
        ),
        sources=("nursing-in-practice-2021",),
    )
    [change] = compare_editions(edition, changed).changes
    assert plain(change)["when"][1] == "days at the present tier is at least 9 days, and progress is worse"
    assert change.sources == ("nursing-in-practice-2021",)
    assert (plain(change)["sources"][1] or "").startswith("nursing-in-practice-2021: Ten top tips")
    assert (plain(change)["sources"][1] or "").endswith("(seen)")


def test_the_reason_and_role_that_an_edition_gives_for_a_change_are_told(edition: Edition) -> None:
    local = with_rule(edition, "wet-review", because="Another reason.")
    change = Change("rule", "replaced", "wet-review", "We visit daily.", "ward lead", None, "x.yaml", 1, 1)
    local = replace(local, name="local", based_on=edition.id, changes=(change,))
    [told] = compare_editions(edition, local).of("rule")
    assert (told.reason, told.decided_by) == ("We visit daily.", "ward lead")
    [elsewhere] = compare_editions(replace(edition, version="2025.1.0"), local).of("rule")
    assert elsewhere.reason is None


@pytest.fixture(scope="module")
def to_quillerbeck(rules: ReadyRules) -> EditionComparison:
    return compare_editions(
        rules.editions["core-2026.1.0"].edition, rules.editions["quillerbeck-2026.1.0"].edition
    )


def test_the_local_edition_differs_in_what_it_says_it_changes(
    to_quillerbeck: EditionComparison,
) -> None:
    local = to_quillerbeck.after
    said = {(one.part, one.name) for one in local.changes}
    told = {(change.part, change.name) for change in to_quillerbeck.changes}
    same_words = {"rule", "setting", "tier", "material", "arrangement", "source", "lift"}
    assert {one for one in told if one[0] in same_words} == {one for one in said if one[0] in same_words}
    assert ("rule", "risk-without-result") in told


def test_text_record_and_documents_hold_every_change(to_quillerbeck: EditionComparison) -> None:
    text = comparison_text(to_quillerbeck)
    record = orjson.loads(orjson.dumps(comparison_record(to_quillerbeck)))
    document = comparison_document(to_quillerbeck)
    page, marked = html(document), markdown(document)
    assert record["behaviour"] is None
    assert len(record["changes"]) == len(to_quillerbeck.changes)
    for change in to_quillerbeck.changes:
        assert f"{change.part} {change.act}: {change.name} (" in text
        assert f"{change.part} {change.act}: {change.name}".capitalize() in page.replace("&#x27;", "'")
        assert change.name.replace("_", "") in marked.replace("\\", "").replace("_", "")
    assert to_quillerbeck.before.digest in page
    assert summary(to_quillerbeck) in text


def test_lines_that_stay_are_not_repeated_on_a_terminal(edition: Edition) -> None:
    fewer = replace(edition, wording=replace(edition.wording, safety_net=edition.wording.safety_net[1:]))
    text = comparison_text(compare_editions(edition, fewer))
    assert edition.wording.safety_net[0] in text
    assert edition.wording.safety_net[1] not in text
    turned = replace(edition, wording=replace(edition.wording, safety_net=edition.wording.safety_net[::-1]))
    assert "the same lines in another order" in comparison_text(compare_editions(edition, turned))
