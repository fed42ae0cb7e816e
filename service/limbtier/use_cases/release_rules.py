"""Editions released through the service, beside those of the rules folder: read at start, and taken up by a
running service without a restart."""

from __future__ import annotations

import json
import logging
import threading
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

from limbtier.domain.draft import ReleasedEdition
from limbtier.engine.matcher import MatcherPool
from limbtier.engine.prepared import PreparedEdition, prepare
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import InvalidRuleFiles, LimbtierError, StoreUnavailable
from limbtier.rulesets.repository import AddedEdition, load_added
from limbtier.store.drafts import EditionTable, Listing
from limbtier.store.entries import EntryStore
from limbtier.store.faults import LogDamaged
from limbtier.use_cases.decide import Decider, ReadyRules
from limbtier.use_cases.ready_rules import Releases, ready_rules, with_statuses
from limbtier.use_cases.record_editions import entry_id_of

LOOK_EVERY: Final = 1.0
"""Seconds between two looks at what was released."""
TRY_AGAIN_AFTER: Final = 30
"""After so many looks, what could not be loaded is tried again."""

alarm = logging.getLogger("limbtier.alarm")


def rules_at_start(folder: Path, rule_set: str | None, editions: EditionTable, log: EntryStore) -> ReadyRules:
    """Everything in the rules folder and everything released through the service, made ready. Raises
    InvalidRuleFiles, InvalidSettings or StoreUnavailable: a service that cannot load what was released
    does not start, because it would decide by something else."""
    listing = editions.listing()
    added = {one.edition: _added(one, editions, log) for one in listing.released}
    return ready_rules(folder, rule_set, Releases(added, listing.retired))


class ReleasedRules:
    """Keeps the rules of a decider up with what was released and retired, by whichever process. What cannot
    be loaded changes nothing: `faults` says what is wrong with it, and operators are told.

    `follow` may be called by any thread."""

    def __init__(self, decider: Decider, editions: EditionTable, log: EntryStore, folder: Path) -> None:
        """`folder` holds the guard rails. `decider` has the editions of that folder already."""
        self.decider = decider
        self.editions = editions
        self.folder = folder
        self._log = log
        self._turn = threading.Lock()
        self._fault: tuple[Listing, tuple[Diagnostic, ...]] | None = None
        self._looks_left = 0
        self._ended = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def faults(self) -> tuple[Diagnostic, ...]:
        """Why the rules are not those that were released; empty when they are."""
        return () if self._fault is None else self._fault[1]

    def follow(self) -> Listing:
        """Take up what was released or retired since; what it was. Raises StoreUnavailable."""
        with self._turn:
            listing = self.editions.listing()
            rules = self.decider.rules
            if not _behind(rules, listing):
                self._fault = None
            elif self._fault is None or self._fault[0] != listing or self._looks_left <= 0:
                self._looks_left = TRY_AGAIN_AFTER
                try:
                    self.decider.rules = self._with(rules, listing)
                    self._fault = None
                except Exception as error:  # whatever it is, the rules that are loaded stay
                    if isinstance(error, StoreUnavailable) and not isinstance(error, LogDamaged):
                        raise
                    self._refuse(listing, error)
            else:
                self._looks_left -= 1
            return listing

    def start(self) -> None:
        """Follow from now on, in a thread of its own."""
        self._ended.clear()
        self._thread = threading.Thread(target=self._run, name="limbtier-releases", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End that thread."""
        self._ended.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def _run(self) -> None:
        while not self._ended.wait(LOOK_EVERY):
            try:
                self.follow()
            except StoreUnavailable:  # health says so; the rules stay until it can be read again
                continue
            except Exception:  # noqa: BLE001 - the thread must go on
                alarm.critical("what was released cannot be followed", exc_info=True)

    def _with(self, rules: ReadyRules, listing: Listing) -> ReadyRules:
        missing = [one for one in listing.released if one.edition not in rules.editions]
        added = {one.edition: _added(one, self.editions, self._log) for one in missing}
        fresh = prepared_editions(self.folder, added, rules)
        return with_releases([*rules.editions.values(), *fresh], listing, rules)

    def _refuse(self, listing: Listing, error: Exception) -> None:
        known = self._fault is not None and self._fault[0] == listing
        found = error.diagnostics if isinstance(error, LimbtierError) else ()
        why = "; ".join(str(item) for item in found) or f"{type(error).__name__}: {error}"
        message = "An edition was released that this worker cannot load; it decides by those before it."
        advice = "Look into the log of the service; install the version that the others run, and start again."
        self._fault = (listing, (Diagnostic("release-not-loaded", message, advice),))
        if not known:
            alarm.critical("release-not-loaded: %s", why, exc_info=None if found else error)


def prepared_editions(
    folder: Path, added: Mapping[str, AddedEdition], rules: ReadyRules
) -> list[PreparedEdition]:
    """Editions from elsewhere than the rules folder, made ready beside those that are. Raises
    InvalidRuleFiles."""
    known = {name: one.edition for name, one in rules.editions.items()}
    editions, guard_rails = load_added(folder, added, known)
    return [prepare(one, guard_rails[one.id], MatcherPool) for one in editions.values()]


def with_releases(prepared: Sequence[PreparedEdition], listing: Listing, rules: ReadyRules) -> ReadyRules:
    """The rules with the statuses that a listing gives them. Raises InvalidRuleFiles when an edition is not
    the one that was released."""
    digests = {one.edition: one.digest for one in listing.released}
    editions = with_statuses((one.edition for one in prepared), digests, listing.retired)
    ready = [
        one if one.edition is edition else replace(one, edition=edition)
        for one, edition in zip(prepared, editions, strict=True)
    ]
    return ReadyRules.of(ready, rules.calendars, rules.rule_set)


def _behind(rules: ReadyRules, listing: Listing) -> bool:
    """Whether the rules are not yet what a listing says."""
    editions = rules.editions
    return any(
        one.edition not in editions
        or editions[one.edition].edition.digest != one.digest
        or editions[one.edition].edition.status == "draft"
        for one in listing.released
    ) or any(name in editions and editions[name].edition.status != "retired" for name in listing.retired)


def _added(one: ReleasedEdition, editions: EditionTable, log: EntryStore) -> AddedEdition:
    """A released edition with its files, once the log says that it was released. Raises InvalidRuleFiles or
    StoreUnavailable."""
    entry = log.entry_by_id(entry_id_of("edition_released", one.edition, one.digest))
    if entry is None or json.loads(entry.data)["digest"] != one.digest:
        message = (
            f"`{one.edition}` is kept as released, and the log has no entry that it was, with this digest."
        )
        advice = "Find out who wrote it into the database; nothing else of the service does."
        raise InvalidRuleFiles([Diagnostic("edition-not-in-log", message, advice, file=one.edition)])
    found = editions.with_files(one.edition)
    files = {} if found is None or found.files is None else found.files
    return AddedEdition({name: text.encode() for name, text in files.items()}, one.digest)
