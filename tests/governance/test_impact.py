"""How legs are compared and counted, and how the counts are shown."""

from __future__ import annotations

import csv
import io
import re
import xml.etree.ElementTree as ET

import orjson
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbtier.engine.prepared import PreparedEdition
from limbtier.governance.impact import (
    Cause,
    Counted,
    Impact,
    LegChange,
    LegOutcome,
    LegReasons,
    NotDecided,
    causes_of,
    review_move,
    tier_move,
)
from limbtier.governance.impact_plot import impact_svg
from limbtier.governance.impact_record import Measured, impact_csv, impact_record, impact_text

TIERS = ("withhold", "support", "mild", "moderate", "strong")
RANKS = {name: rank for rank, name in enumerate(TIERS)}
SVG = "{http://www.w3.org/2000/svg}"


def read_picture(text: str) -> ET.Element:
    return ET.fromstring(text)  # noqa: S314 - the service wrote it


def limit(rule: str, tier: str, *, applies: bool = True, until: str | None = None) -> Counted:
    return Counted(rule, False, tier, applies, until)


def goal(rule: str, tier: str, *, applies: bool = True) -> Counted:
    return Counted(rule, True, tier, applies, None)


def outcome(tier: str, review: str = "2026-03-05", disposition: str = "start") -> LegOutcome:
    return LegOutcome(disposition, tier, "strong", review)


def reasons(*counted: Counted, set_by: tuple[str, ...] = ("review_always",)) -> LegReasons:
    return LegReasons(frozenset(counted), frozenset(set_by))


GOAL = goal("goal-ulcer", "strong")


@pytest.mark.parametrize(
    ("before", "after", "was", "now", "causes"),
    [
        # A new limit lowers the tier; a limit that stays is no cause.
        (
            outcome("mild"),
            outcome("support"),
            reasons(GOAL, limit("old", "mild")),
            reasons(GOAL, limit("old", "mild"), limit("new", "support")),
            {Cause("new", "limits", "support")},
        ),
        # A limit that goes raises it, and one that was lower goes with it.
        (
            outcome("support"),
            outcome("strong"),
            reasons(GOAL, limit("one", "support"), limit("two", "mild", applies=False)),
            reasons(GOAL),
            {Cause("one", "no longer limits", "support"), Cause("two", "no longer limits", "mild")},
        ),
        # The same rule limits lower than before.
        (
            outcome("moderate"),
            outcome("mild"),
            reasons(GOAL, limit("one", "moderate")),
            reasons(GOAL, limit("one", "mild")),
            {Cause("one", "limits", "mild")},
        ),
        # A goal that goes lowers the tier; a lower goal that stays is no cause.
        (
            outcome("strong"),
            outcome("mild"),
            reasons(GOAL, goal("goal-wound", "mild")),
            reasons(goal("goal-wound", "mild")),
            {Cause("goal-ulcer", "no longer proposes", "strong")},
        ),
        # A goal that was undetermined, and counted for nothing, applies now.
        (
            outcome("withhold"),
            outcome("strong"),
            reasons(goal("goal-ulcer", "strong", applies=False)),
            reasons(GOAL),
            {Cause("goal-ulcer", "proposes", "strong")},
        ),
        # Only the review moves: whatever set it, or no longer does.
        (
            outcome("mild", "2026-03-05"),
            outcome("mild", "2026-03-03"),
            reasons(set_by=("review_always",)),
            reasons(set_by=("wet-review",)),
            {Cause("wet-review", "sets the review", None)},
        ),
        (
            outcome("mild", "2026-03-03"),
            outcome("mild", "2026-03-05"),
            reasons(set_by=("wet-review", "tier")),
            reasons(set_by=("review_always",)),
            {
                Cause("wet-review", "no longer sets the review", None),
                Cause("tier", "no longer sets the review", None),
            },
        ),
        # The tier stays and the disposition does not: every limit that reads otherwise.
        (
            outcome("withhold", disposition="cannot_decide_yet"),
            outcome("withhold", disposition="stop_and_escalate"),
            reasons(limit("sign", "withhold", applies=False), limit("same", "mild"), limit("off", "support")),
            reasons(limit("sign", "withhold"), limit("same", "mild"), limit("on", "mild", until="x")),
            {
                Cause("sign", "applies, was undetermined", "withhold"),
                Cause("off", "no longer limits", "support"),
                Cause("on", "limits", "mild"),
            },
        ),
        (
            outcome("mild"),
            LegOutcome("start", "mild", "mild", "2026-03-05"),
            reasons(GOAL, limit("one", "mild", until="arterial_result")),
            reasons(GOAL, limit("one", "mild")),
            {Cause("one", "can be lifted otherwise", "mild")},
        ),
        (
            outcome("withhold", disposition="stop_and_escalate"),
            outcome("withhold", disposition="cannot_decide_yet"),
            reasons(limit("sign", "withhold"), goal("goal-ulcer", "strong")),
            reasons(limit("sign", "withhold", applies=False)),
            {
                Cause("sign", "undetermined, applied before", "withhold"),
                Cause("goal-ulcer", "no longer proposes", "strong"),
            },
        ),
    ],
)
def test_the_rules_that_made_the_difference_are_named(
    before: LegOutcome, after: LegOutcome, was: LegReasons, now: LegReasons, causes: set[Cause]
) -> None:
    assert set(causes_of(before, after, was, now, RANKS)) == causes


counted = st.frozensets(
    st.builds(
        Counted,
        rule=st.sampled_from(["a", "b", "c"]),
        proposes=st.booleans(),
        tier=st.sampled_from(TIERS),
        applies=st.booleans(),
        until=st.none(),
    ),
    max_size=6,
)


def given_tier(some: frozenset[Counted]) -> str:
    """The tier that these give, by the definition: the highest goal that applies, under every limit."""
    goals = [RANKS[one.tier] for one in some if one.proposes and one.applies]
    return TIERS[min([max(goals, default=0), *(RANKS[one.tier] for one in some if not one.proposes)])]


@given(was=counted, now=counted)
def test_whenever_the_tier_moves_something_that_really_changed_is_named(
    was: frozenset[Counted], now: frozenset[Counted]
) -> None:
    before, after = outcome(given_tier(was)), outcome(given_tier(now))
    causes = causes_of(before, after, reasons(*was), reasons(*now), RANKS)
    if before.tier != after.tier:
        assert causes
    plainly_was = {(one.rule, one.proposes, one.tier) for one in was if one.applies or not one.proposes}
    plainly_now = {(one.rule, one.proposes, one.tier) for one in now if one.applies or not one.proposes}
    for cause in causes:
        assert cause.tier is not None
        one = (cause.rule, "propose" in cause.effect, cause.tier)
        gone = cause.effect.startswith("no longer")
        assert one in (plainly_was - plainly_now if gone else plainly_now - plainly_was)


def test_tiers_move_by_rank_and_reviews_by_day() -> None:
    assert [tier_move(1, 2), tier_move(2, 1), tier_move(2, 2)] == ["up", "down", "same"]
    days = ("2026-03-30", "2026-04-01")
    assert [review_move(*days), review_move(*days[::-1]), review_move(days[0], days[0])] == [
        "later",
        "earlier",
        "same",
    ]


def change(reference: str = "a1", episode: str = "ep-1", side: str = "left") -> LegChange:
    return LegChange(
        reference=reference,
        link=f"/v1/decisions/{reference}",
        episode=episode,
        side=side,
        edition="core-2026.1.0",
        before=outcome("mild"),
        after=outcome("support", "2026-03-03"),
        tier="down",
        review="earlier",
        causes=(Cause("new", "limits", "support"), Cause("tier", "sets the review", None)),
    )


def counted_impact() -> Impact:
    impact = Impact(assessments=4)
    impact.add("core-2026.1.0", outcome("strong"), outcome("strong"), None)
    found = change()
    impact.add("core-2026.1.0", found.before, found.after, found)
    impact.not_decided.append(
        NotDecided("line 7", None, "core-2026.2.0", "invalid-assessment", ("/person/x: Gone.",))
    )
    return impact


@pytest.fixture(scope="module")
def measured(core: PreparedEdition) -> Measured:
    return Measured(core.edition, "decisions of quillerbeck", "what was decided then")


def test_counts_of_two_parts_are_those_of_both(measured: Measured) -> None:
    together = counted_impact()
    together.take_in(counted_impact())
    record = impact_record(together, measured)
    assert (record["assessments"], record["legs"], record["legs_that_differ"]) == (8, 4, 2)
    assert record["tier_moves"] == {"up": 0, "down": 2, "same": 2}
    assert record["review_moves"] == {"earlier": 2, "later": 0, "same": 2}
    assert record["editions_before"] == {"core-2026.1.0": 4}
    assert {(one["rule"], one["legs"]) for one in record["made_by"]} == {("new", 2), ("tier", 2)}
    assert len(record["not_decided"]) == 2


def test_the_record_lists_every_change_with_its_link_and_is_json(measured: Measured) -> None:
    record = orjson.loads(orjson.dumps(impact_record(counted_impact(), measured)))
    [only] = record["changes"]
    assert only["link"] == "/v1/decisions/a1"
    assert only["before"]["tier"] == "mild"
    assert only["after"] == {
        "disposition": "start",
        "tier": "support",
        "target_tier": "strong",
        "review_due_on": "2026-03-03",
    }
    assert record["tiers"] == [
        {"before": "mild", "after": "support", "legs": 1},
        {"before": "strong", "after": "strong", "legs": 1},
    ]
    [left_out] = record["not_decided"]
    assert (left_out["reference"], left_out["code"]) == ("line 7", "invalid-assessment")


def test_the_table_has_a_header_and_a_row_for_each_change_and_each_that_was_not_decided() -> None:
    text = impact_csv(counted_impact())
    assert text.count("\r\n") == 3
    header, *rows = csv.reader(io.StringIO(text, newline=""))
    assert {len(row) for row in rows} == {len(header)}
    first, second = (dict(zip(header, row, strict=True)) for row in rows)
    assert (first["what"], first["tier before"], first["tier after"]) == ("differs", "mild", "support")
    assert first["made by"] == "new: limits (support); interval of the tier: sets the review"
    assert (second["what"], second["reference"]) == ("not decided", "line 7")
    assert second["made by"] == "core-2026.2.0: invalid-assessment; /person/x: Gone."


@pytest.mark.parametrize("begins", ["=", "+", "-", "@", "\t", "\r", "\n"])
def test_no_cell_is_a_formula(begins: str) -> None:
    # What spreadsheets take for a formula: common practice, no published source.
    impact = Impact()
    impact.changes.append(change(reference=f'{begins}HYPERLINK("x")', episode=f"{begins}1+1"))
    _, row = csv.reader(io.StringIO(impact_csv(impact), newline=""))
    assert f"'{begins}1+1" in row
    assert not any(cell.startswith(begins) for cell in row)


def test_the_lines_for_a_terminal_tell_counts_causes_and_what_was_not_decided(measured: Measured) -> None:
    text = impact_text(counted_impact(), measured)
    assert "Tier: 0 up, 1 down, 1 the same." in text
    assert "Review: 1 earlier, 0 later, 1 the same." in text
    assert "  new: limits (support): 1 leg\n" in text
    assert "line 7, by core-2026.2.0: invalid-assessment: /person/x: Gone." in text


def test_of_very_many_causes_the_first_are_told_and_the_rest_counted(measured: Measured) -> None:
    impact = counted_impact()
    for number in range(30):
        impact.causes[Cause(f"rule-{number}", "limits", "mild")] = 100 - number
        impact.not_decided.append(impact.not_decided[0])
    text = impact_text(impact, measured)
    assert text.index("rule-0:") < text.index("rule-9:")
    assert "rule-10:" not in text
    assert "and 22 more, in the JSON and the CSV" in text
    assert "and 21 more, in the JSON and the CSV" in text
    assert "rule-8" not in "".join(read_picture(impact_svg(impact, measured)).itertext())


def test_the_picture_says_in_words_what_its_bars_show(measured: Measured) -> None:
    picture = read_picture(impact_svg(counted_impact(), measured))
    assert picture.get("role") == "img"
    named = {element.get("id"): element.text for element in picture if element.get("id")}
    assert (picture.get("aria-labelledby") or "").split() == ["title", "description"]
    assert measured.edition.id in (named["title"] or "")
    assert "Of those at mild: 0 same, 0 up, 1 down." in (named["description"] or "")
    shown = [element.text for element in picture.iter(f"{SVG}text")]
    assert "1 down" in shown
    assert "1 same, 1 earlier" in shown
    assert "new: limits (support)" in shown


def test_each_kind_of_leg_has_a_pattern_of_its_own_beside_its_colour(measured: Measured) -> None:
    picture = read_picture(impact_svg(counted_impact(), measured))
    patterns = {one.get("id"): [child.tag for child in one] for one in picture.iter(f"{SVG}pattern")}
    assert patterns.keys() == {"up", "down"}
    assert patterns["up"] != patterns["down"]
    fills = {one.get("fill") for one in picture.iter(f"{SVG}rect") if one.get("class") == "bar"}
    assert {"#e4e4e4", "url(#up)", "url(#down)"} <= fills


def test_the_picture_shows_nothing_of_any_person_fetches_nothing_and_escapes_text(
    core: PreparedEdition,
) -> None:
    picture = impact_svg(counted_impact(), Measured(core.edition, "<b> & 'c'", "what was decided then"))
    assert "ep-1" not in picture
    assert "a1" not in re.findall(r">([^<]*)<", picture)
    assert "&lt;b&gt; &amp; 'c'" in picture
    assert "href" not in picture
    assert "<script" not in picture


def test_nothing_at_all_can_be_drawn(measured: Measured) -> None:
    shown = list(read_picture(impact_svg(Impact(), measured)).itertext())
    assert "Nothing: no leg differs." in shown
    assert shown.count("none") == 6


def test_no_bar_is_wider_than_its_place(measured: Measured) -> None:
    impact = Impact(assessments=10**6, legs=10**6)
    impact.tiers["mild", "mild"] = 10**6
    impact.tiers["mild", "strong"] = impact.tiers["mild", "withhold"] = 1
    impact.reviews["same"] = 10**6 + 2
    picture = read_picture(impact_svg(impact, measured))
    bars = [one for one in picture.iter(f"{SVG}rect") if one.get("class") == "bar"]
    assert all(float(one.get("x") or 0) + float(one.get("width") or 0) <= 470 for one in bars[3:])
    assert min(float(one.get("width") or 0) for one in bars) >= 2
