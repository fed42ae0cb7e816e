"""Names of our own for what cards say in codes. The addresses only name; nothing has to answer there."""

from __future__ import annotations

from typing import Final

from limbtier.interop.fhir.identifiers import Identifiers

TOPIC: Final = "lower-limb-compression"
EXTENSION: Final = "invalid.limbtier.decision"
"""The member of `extension` of a card (a domain in reverse, as CDS Hooks asks) with what it rests on."""


def override_reasons(names: Identifiers) -> str:
    """The code system of the reasons for overriding a card."""
    return names.codes("override-reason")


def topics(names: Identifiers) -> str:
    """The code system of the topics of cards."""
    return names.codes("card-topic")
