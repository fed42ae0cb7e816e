"""Decision records for tests, made by the service itself."""

from __future__ import annotations

from limbtier.domain.caller import Caller
from limbtier.foundation.settings import CHECKOUT
from limbtier.use_cases.decide import Decider, ReadyRules

FIRST_CONTACT = (CHECKOUT / "demo_data" / "first_contact.json").read_bytes()
CALLER = Caller("integrator-key", "quillerbeck", frozenset({"decide"}))
DECISION_ID = "0b7e2a4c-1111-4222-8333-9f6d5e4c3b2a"


def decided(rules: ReadyRules, body: bytes = FIRST_CONTACT, caller: Caller = CALLER) -> bytes:
    """The record of a decision, stored nowhere."""
    decision, writer = Decider(rules).decision(body)
    return writer.write(decision, DECISION_ID, body, caller)
