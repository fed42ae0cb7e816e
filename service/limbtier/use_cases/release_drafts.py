"""Drafts of editions: saved, copied, listed, read, discarded. Every change is an entry of the log."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

from limbtier.domain.caller import Caller
from limbtier.domain.draft import Draft
from limbtier.domain.edition import Edition
from limbtier.domain.entry import Entry
from limbtier.foundation.clock import Clock, now
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean
from limbtier.foundation.errors import NotFound
from limbtier.rulesets.digest import digest, digest_on_base, files_of
from limbtier.store.drafts import DraftTable, Overtaken
from limbtier.store.entries import EntryStore
from limbtier.use_cases.release_entries import Step, draft_entry
from limbtier.use_cases.release_errors import DraftStale, StepRefused, no_such_draft, refusal
from limbtier.use_cases.release_files import (
    Files,
    bytes_of,
    copied,
    digest_of,
    read_files,
    require_edition_id,
    shown,
)
from limbtier.use_cases.release_rules import ReleasedRules

MOST_DRAFTS: Final = 100
MOST_SKEW: Final = timedelta(minutes=1)
"""By so much the clocks of two machines may differ."""

Append = Callable[[Entry], object]


class Drafts:
    """The drafts that callers work on. `append` keeps an entry and what changes with it, or raises; every
    method waits for it, and so for the disk.

    `governing` is the only organisation whose callers may do more than read and discard; None: every one's.

    All raise StoreUnavailable, NotFound for a draft of another organisation, DraftStale when the draft is not
    the one that the caller saw, and StepRefused, with every reason, when the step cannot be taken.
    """

    def __init__(
        self, table: DraftTable, released: ReleasedRules, log: EntryStore, append: Append, clock: Clock = now
    ) -> None:
        self.governing: str | None = None
        self.table = table
        self.released = released
        self._log = log
        self._append = append
        self._clock = clock

    def all(self, caller: Caller) -> list[Draft]:
        """Every draft of the caller's organisation."""
        return self.table.all(caller.organisation)

    def find(self, caller: Caller, edition: str) -> tuple[Draft, Files]:
        """A draft of the caller's organisation, with its files."""
        found = self.table.find(caller.organisation, edition)
        if found is None or found[0].state == "discarded":
            raise no_such_draft()
        return found

    def save(
        self, caller: Caller, edition: str, files: object, etag: str | None, reason: str | None = None
    ) -> Draft:
        """Keep files, text by path, as a draft: a new one when `etag` is None, else over the one that it
        names. Whatever was checked, proved and approved before is void. Raises InvalidDraft."""
        require_edition_id(edition)
        return self._save(caller, edition, read_files(files), etag, reason, ())

    def copy(
        self,
        caller: Caller,
        source: str,
        version: str,
        effective_from: str | None = None,
        reason: str | None = None,
    ) -> Draft:
        """A new draft with the content of an edition or of another draft, under another version: to go back
        to what was, or to go on from it. Whoever saved a draft counts as having saved its copy."""
        rule_set = source.partition("-")[0]
        edition = f"{rule_set}-{version}"
        require_edition_id(edition)
        loaded = self.released.decider.rules.editions.get(source)
        savers: tuple[str, ...] = ()
        found = self.table.find(caller.organisation, source)
        if found is not None and found[0].state not in ("discarded", "released", "retired"):
            files, savers = found[1], found[0].savers
        elif loaded is not None:
            files = self._files_of(loaded.edition)
        else:
            raise self._unknown(source)
        new = read_files(copied(files, version, source, effective_from))
        return self._save(caller, edition, new, None, reason or f"copy of {source}", savers)

    def discard(self, caller: Caller, edition: str, etag: str, reason: str | None = None) -> Draft:
        """Forget the files of a draft. What was released stays."""
        draft, files = self._seen(caller, edition, etag)
        if draft.state in ("released", "retired"):
            raise _released(draft)
        return self._take(
            "edition_discarded", caller, draft, replace(draft, state="discarded"), files, reason
        )

    # What the other steps need, too.

    def _require_governing(self, caller: Caller) -> None:
        if self.governing not in (None, caller.organisation):
            message = "In this service one organisation governs the editions, and it is not yours."
            raise refusal("not-governing", message, "Ask its governance team for what you need.")

    def _seen(self, caller: Caller, edition: str, etag: str) -> tuple[Draft, Files]:
        draft, files = self.find(caller, edition)
        if draft.etag != etag:
            raise _changed(draft)
        return draft, files

    def _take(
        self,
        step: Step,
        caller: Caller,
        before: Draft | None,
        after: Draft,
        files: Files,
        reason: str | None,
    ) -> Draft:
        """Take a step that changes nothing but the draft, together with its entry."""
        also = self.table.putting(before, after, files)
        try:
            self._append(draft_entry(step, after, caller, self._moment(), also, reason))
        except Overtaken:
            found = self.table.find(after.organisation, after.edition)
            raise _exists() if before is None or found is None else _changed(found[0]) from None
        return after

    def _moment(self) -> datetime:
        """Now. Raises StepRefused when the clock is behind the last entry of the log: days and the order of
        steps could not be relied on."""
        at, last = self._clock(), self._log.last_at()
        if last is not None and at < last - MOST_SKEW:
            message = (
                f"The clock of the service says {at:%Y-%m-%d %H:%M}, before the last entry of its log, "
                f"{last:%Y-%m-%d %H:%M}."
            )
            raise refusal("clock-behind", message, "Set the clock of the machine, then take the step again.")
        return at

    def _save(
        self,
        caller: Caller,
        edition: str,
        files: Files,
        etag: str | None,
        reason: str | None,
        savers: tuple[str, ...],
    ) -> Draft:
        self._require_governing(caller)
        self.released.follow()
        existing = self.released.decider.rules.editions.get(edition)
        if existing is not None and existing.edition.status != "draft":  # a folder that is prepared is none
            message = f"There is an edition `{edition}` already."
            raise refusal("edition-exists", message, "Take another version; an edition is never changed.")
        before = (self.table.find(caller.organisation, edition) or (None,))[0]
        there = before is not None and before.state != "discarded"
        if etag is None and there:
            raise _exists()
        if etag is not None and not there:
            raise no_such_draft()
        if before is not None and there and before.etag != etag:
            raise _changed(before)
        open_ones = [one for one in self.all(caller) if one.state not in ("released", "retired")]
        if not there and len(open_ones) >= MOST_DRAFTS:  # what was released stays
            message = f"Your organisation has {MOST_DRAFTS} drafts already."
            raise refusal("too-many-drafts", message, "Discard some of them.")
        after = Draft(
            edition=edition,
            organisation=caller.organisation,
            revision=1 if before is None else before.revision + 1,
            state="draft",
            digest=digest_of(files),
            savers=tuple(dict.fromkeys((*(before.savers if before else ()), *savers, caller.id))),
            saved_at=self._moment(),
        )
        return self._take("edition_saved", caller, before, after, files, reason)

    def _files_of(self, edition: Edition) -> Files:
        """The files of an edition that is loaded, as it was released. Raises StepRefused when those in the
        rules folder are others by now, or cannot be a draft."""
        kept = self.released.editions.with_files(edition.id)
        if kept is not None and kept.files is not None:
            return kept.files
        folder = self.released.folder / edition.name / edition.version
        try:
            contents = {name: path.read_bytes() for name, path in files_of(folder).items()}
            texts = {name: data.decode() for name, data in contents.items()}
        except (OSError, UnicodeDecodeError):
            contents, texts = {}, {}
        based_on = edition.based_on
        base = self.released.decider.rules.editions.get(based_on) if based_on is not None else None
        made = digest(contents) if base is None else digest_on_base(contents, base.edition.digest)
        if made != edition.digest:
            message = f"The files of `{edition.id}` are not those that the service loaded."
            raise refusal("edition-changed", message, "Put them back as they were, or start from a folder.")
        return texts

    def _unknown(self, source: str) -> NotFound:
        known = self.released.decider.rules.editions
        advice = did_you_mean(source[:60], known, "`/v1/editions` lists the editions.")
        message = f"There is no edition or draft `{shown(source)}`."
        return NotFound([Diagnostic("unknown-edition", message, advice)])


def files_in_folder(files: Files, edition: str) -> dict[str, bytes]:
    """The files by their path in a rules folder."""
    folder = edition.replace("-", "/")
    return {f"{folder}/{name}": data for name, data in bytes_of(files).items()}


def _exists() -> DraftStale:
    advice = "Read it, then save over it with `If-Match` and its ETag, or take another version."
    return DraftStale([Diagnostic("draft-exists", "There is a draft with this id already.", advice)])


def _changed(draft: Draft) -> DraftStale:
    message = f"The draft is not the one that you have seen: it is at revision {draft.revision}."
    if draft.state == "discarded":
        message = "The draft was discarded."
    advice = "Read it again with its ETag, look at what changed, then decide anew."
    return DraftStale([Diagnostic("draft-changed", message, advice)])


def _released(draft: Draft) -> StepRefused:
    message = f"`{draft.edition}` is {draft.state}: an edition is never changed."
    return refusal("edition-exists", message, "Copy it to a new version, and change that.")
