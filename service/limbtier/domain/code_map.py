"""Which codes of other systems stand for which inputs: edited by each site, and no part of an edition."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

from limbtier.domain.assessment import Side

UNNAMED_BASE: Final = "https://limbtier.invalid/fhir"
"""The base of identifiers where a site has given none of its own. Nothing answers there (RFC 2606)."""


@dataclass(frozen=True, slots=True)
class Coding:
    """A code of a code system; `system` is its URI."""

    system: str
    code: str


@dataclass(frozen=True, slots=True)
class CodedInput:
    """An observation that answers an input, when its code and, where given, its body site and its method are
    these. `dated_by` names the input with the day of the measurement, which may lie before the contact."""

    input: str
    code: Coding
    body_site: Coding | None = None
    method: Coding | None = None
    dated_by: str | None = None


@dataclass(frozen=True, slots=True)
class CodeMap:
    """All that a site says about codes. `base` begins the identifiers that the service makes up;
    `body_sites` says which leg an observation about a leg is of."""

    base: str = UNNAMED_BASE
    body_sites: Mapping[Coding, Side] = field(default_factory=lambda: MappingProxyType({}))
    observations: tuple[CodedInput, ...] = ()
