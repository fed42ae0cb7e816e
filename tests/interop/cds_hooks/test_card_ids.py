"""Ids of cards lead back to their decision and leg, and no other text does."""

from __future__ import annotations

import uuid

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbtier.domain.assessment import SIDES, Side
from limbtier.interop.cds_hooks.card_ids import card_id, decisions_of, suggestion_id


@given(decision=st.uuids(version=4).map(str), side=st.sampled_from(SIDES))
def test_a_card_leads_back_to_its_decision_and_leg_alone(decision: str, side: Side) -> None:
    card = card_id(decision, side)
    assert uuid.UUID(card).version == 8
    assert uuid.UUID(card).variant == uuid.RFC_4122
    assert (decision, side) in decisions_of(card)
    assert [one for one, leg in decisions_of(card) if one == decision] == [decision]
    assert decisions_of(card.upper()) == decisions_of(card)
    other = card_id(decision, "left" if side == "right" else "right")
    assert len({card, other, decision, suggestion_id(card), suggestion_id(other)}) == 5


@given(text=st.text() | st.uuids(version=4).map(str) | st.uuids(version=1).map(str))
def test_what_is_no_card_leads_nowhere(text: str) -> None:
    assert decisions_of(text) == ()


def test_only_a_decision_has_cards() -> None:
    with pytest.raises(ValueError, match="no id of a decision"):
        card_id(str(uuid.uuid1()), "left")
