"""Approves, releases and retires editions: by two people, and in one step each, or not at all."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date

from limbtier.domain.assessment import day_of
from limbtier.domain.caller import Caller
from limbtier.domain.draft import Draft, ReleasedEdition
from limbtier.domain.edition import Edition, active_edition
from limbtier.domain.entry import Also
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean
from limbtier.foundation.errors import NotFound
from limbtier.store.drafts import Listing, Overtaken
from limbtier.store.faults import Conflict
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.release_entries import draft_entry, step_entry
from limbtier.use_cases.release_errors import StepRefused, refusal
from limbtier.use_cases.release_judgement import Judges, require_open, unchecked, unproved

_TRIES = 3


class Releases(Judges):
    """The whole way of an edition, its last steps among them."""

    def approve(self, caller: Caller, edition: str, etag: str, reason: str | None = None) -> Draft:
        """Approve a draft that is proved, by somebody who never saved it."""
        self._require_governing(caller)
        draft, files = self._seen(caller, edition, etag)
        self.released.follow()
        require_open(draft)
        found = _not_ready(draft)
        if draft.state == "approved":
            found.append(Diagnostic("already-approved", "The draft is approved already.", "Release it."))
        if caller.id in draft.savers:
            message = "You saved this draft, or what it was copied from, so you cannot approve it."
            found.append(Diagnostic("own-draft", message, "Ask somebody else with the scope `approve`."))
        if found:
            raise StepRefused(found)
        self.loaded_as_judged(draft, files)
        after = replace(draft, state="approved", approver=caller.id)
        return self._take("edition_approved", caller, draft, after, files, reason)

    def release(self, caller: Caller, edition: str, etag: str, reason: str | None = None) -> Draft:
        """Release a draft that is approved: from its first day on it decides. This process has taken it up
        when this returns, every other within seconds."""
        self._require_governing(caller)
        for _ in range(_TRIES):
            draft, files = self._seen(caller, edition, etag)
            listing = self._followed()
            require_open(draft)
            if draft.state != "approved":
                advice = "Have it approved by somebody who never saved it."
                found = _not_ready(draft) or [
                    Diagnostic("not-approved", "The draft is not approved.", advice)
                ]
                raise StepRefused(found)
            rules = self.released.decider.rules
            prepared, _ = self.loaded_as_judged(draft, files)
            at = self._moment()
            refused = list(_not_releasable(prepared, rules, listing, day_of(at), caller))
            if refused:
                raise StepRefused(refused)
            new = ReleasedEdition(edition, caller.organisation, prepared.edition.digest, at, files)
            after = replace(draft, state="released")
            also = together(
                self.table.putting(draft, after, files), self.released.editions.releasing(listing, new)
            )
            told = {
                "approved_by": draft.approver,
                "effective_from": prepared.edition.effective_from.isoformat(),
                "saved_by": list(draft.savers),
            }
            try:
                self._append(draft_entry("edition_released", after, caller, at, also, reason, **told))
            except Overtaken:
                continue
            except Conflict:
                message = f"The log says already that `{edition}` was released with this content."
                raise refusal("edition-exists", message, "Take another version.") from None
            self.released.follow()
            return after
        raise _busy()

    def retire(self, caller: Caller, edition: str, reason: str | None) -> None:
        """Retire a released edition, of the rules folder too: it decides nothing new, and what it decided can
        still be made again."""
        self._require_governing(caller)
        for _ in range(_TRIES):
            listing = self._followed()
            rules = self.released.decider.rules
            prepared = rules.editions.get(edition)
            if prepared is None:
                advice = did_you_mean(edition[:60], rules.editions, "`/v1/editions` lists the editions.")
                raise NotFound([Diagnostic("unknown-edition", "There is no such edition.", advice)])
            at = self._moment()
            refused = list(_not_retirable(prepared.edition, rules, listing, day_of(at), caller))
            if refused:
                raise StepRefused(refused)
            also = self.released.editions.retiring(listing, edition, at)
            found = self.table.find(caller.organisation, edition)
            if found is not None and found[0].state == "released":
                after = replace(found[0], state="retired")
                also = together(also, self.table.putting(found[0], after, found[1]))
            about = {"digest": prepared.edition.digest}
            try:
                self._append(step_entry("edition_retired", edition, about, caller, at, also, reason))
            except Overtaken:
                continue
            except Conflict:
                raise refusal(*_RETIRED) from None
            self.released.follow()
            return
        raise _busy()

    def _followed(self) -> Listing:
        """What was released, once it is loaded here. Raises StepRefused where it cannot be."""
        listing = self.released.follow()
        if self.released.faults:
            message = (
                "An edition was released that this worker cannot load, so it can release and retire none."
            )
            raise refusal("release-not-loaded", message, "Tell whoever runs the service.")
        return listing


_RETIRED = ("not-released", "The edition is retired already.", "There is nothing left to do.")


def together(*changes: Also) -> Also:
    """Several changes as one."""

    def change(cursor: object, position: int) -> None:
        for one in changes:
            one(cursor, position)

    return change


def _not_ready(draft: Draft) -> list[Diagnostic]:
    """Why a draft cannot be approved yet; empty for one that is proved, or approved."""
    if draft.state == "draft":
        return unchecked(draft)
    return unproved(draft) if draft.state == "checked" else []


def _not_releasable(
    prepared: PreparedEdition, rules: ReadyRules, listing: Listing, today: date, caller: Caller
) -> Iterator[Diagnostic]:
    edition = prepared.edition
    existing = rules.editions.get(edition.id)
    if existing is not None and existing.edition.status != "draft":
        message = f"There is an edition `{edition.id}` already."
        yield Diagnostic("edition-exists", message, "Take another version; an edition is never changed.")
    elif existing is not None and existing.edition.digest != edition.digest:
        message = f"The rules folder holds another draft of `{edition.id}`."
        advice = "Take that folder out and start the service again, or release from it under another version."
        yield Diagnostic("edition-exists", message, advice)
    yield from _of_another(edition, listing, caller)
    first = edition.effective_from
    if first < today:
        message = f"`effective_from` is {first}, and today is {today}: it would change what was."
        yield Diagnostic("effective-from-past", message, "Write today or a later day, and start over.")
    for one in (other.edition for other in rules.editions.values()):
        if one.name == edition.name and one.status == "released" and one.effective_from >= first:
            message = f"`{one.id}` is released from {one.effective_from}; this would be from {first}."
            advice = "Write a later day; or retire that edition first, if another one is in force."
            yield Diagnostic("newer-release", message, advice)
    base = None if edition.based_on is None else rules.editions[edition.based_on].edition
    if base is not None and base.status != "released":
        message = f"Its base `{base.id}` is not released, or retired."
        yield Diagnostic("base-not-released", message, "Base it on an edition that is released.")


def _not_retirable(
    edition: Edition, rules: ReadyRules, listing: Listing, today: date, caller: Caller
) -> Iterator[Diagnostic]:
    if edition.status == "retired":
        yield Diagnostic(*_RETIRED)
    elif edition.status != "released":
        yield Diagnostic("not-released", "The edition was never released.", "There is nothing to retire.")
    yield from _of_another(edition, listing, caller)
    if edition.name != rules.rule_set or edition.status != "released":
        return
    released = [one.edition for one in rules.editions.values() if one.edition.status == "released"]
    left = active_edition((one for one in released if one.id != edition.id), today, rules.rule_set)
    if active_edition(released, today, rules.rule_set) is not None and left is None:
        message = "No other released edition of the set that decides is in force today."
        yield Diagnostic("last-in-force", message, "Release another one first, and retire this one then.")


def _of_another(edition: Edition, listing: Listing, caller: Caller) -> Iterator[Diagnostic]:
    """A set belongs to the organisation that first released an edition of it through the service."""
    owners = {one.organisation for one in listing.released if one.edition.partition("-")[0] == edition.name}
    if owners - {caller.organisation}:
        message = f"Another organisation releases the editions of the set `{edition.name}`."
        yield Diagnostic("set-of-another", message, "Take a set of your own.")


def _busy() -> StepRefused:
    message = "Others released or retired editions again and again meanwhile."
    return refusal("draft-changed", message, "Look at `/v1/editions`, then try again.")
