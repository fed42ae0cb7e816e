"""Loads the rules folder and makes every edition ready to decide."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.engine.matcher import MatcherPool
from limbtier.engine.prepared import prepare
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean
from limbtier.foundation.errors import InvalidRuleFiles
from limbtier.foundation.settings import DEFAULT_RULE_SET, InvalidSettings
from limbtier.rulesets.repository import AddedEdition, RuleRepository
from limbtier.use_cases.decide import ReadyRules


@dataclass(frozen=True, slots=True)
class Releases:
    """What was released and retired through the service: editions by id, and ids."""

    added: Mapping[str, AddedEdition]
    retired: frozenset[str]


NO_RELEASES: Final = Releases({}, frozenset())


def ready_rules(folder: Path, rule_set: str | None = None, releases: Releases = NO_RELEASES) -> ReadyRules:
    """Everything under the rules folder and everything released beside it, checked. `rule_set` decides when
    nobody asks for an edition; one that is given must be there.

    Raises InvalidRuleFiles that names every fault at once, or InvalidSettings.
    """
    snapshot = RuleRepository(folder, releases.added).snapshot
    digests = {name: one.digest for name, one in releases.added.items() if one.digest is not None}
    editions = with_statuses(snapshot.editions.values(), digests, releases.retired)
    sets = sorted({edition.name for edition in editions})
    if rule_set is not None and rule_set not in sets:
        message = f"LIMBTIER_RULE_SET: the rules folder holds no set `{rule_set}`."
        advice = did_you_mean(rule_set, sets, f"Name one of {', '.join(sets)}.")
        raise InvalidSettings([Diagnostic("invalid-setting", message, advice)])
    return ReadyRules.of(
        [prepare(edition, snapshot.guard_rails[edition.id], MatcherPool) for edition in editions],
        snapshot.calendars,
        rule_set or DEFAULT_RULE_SET,
    )


def with_statuses(
    editions: Iterable[Edition], released: Mapping[str, str], retired: Collection[str]
) -> list[Edition]:
    """Editions, released and retired as the service was told and not as their files say, which stay as they
    were approved. `released` are digests by id. Raises InvalidRuleFiles for another edition of that id."""
    found: list[Edition] = []
    for edition in editions:
        digest = released.get(edition.id)
        if digest not in (None, edition.digest):
            message = (
                f"`{edition.id}` was released through the service as {digest}; here it is {edition.digest}."
            )
            advice = "Take it out of the rules folder, or give it another version."
            raise InvalidRuleFiles([Diagnostic("edition-in-two-places", message, advice, file=edition.id)])
        status = edition.status if digest is None or edition.status != "draft" else "released"
        status = "retired" if edition.id in retired else status
        found.append(edition if status == edition.status else replace(edition, status=status))
    return found
