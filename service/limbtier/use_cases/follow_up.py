"""Decides contacts of episodes: completed from what is known, decided, and folded on in one transaction."""

from __future__ import annotations

import orjson

from limbtier.domain.caller import Caller
from limbtier.domain.decision import Decision
from limbtier.domain.entry import Entry, Retry
from limbtier.domain.episode_state import Contact
from limbtier.engine.episode_completion import Completion
from limbtier.foundation.strict_json import NotJson, read_json
from limbtier.use_cases.decide import Decider, decision_index
from limbtier.use_cases.decision_record import RecordWriter
from limbtier.use_cases.episode_contact import contact_of
from limbtier.use_cases.episodes import Episodes, Known, episode_record

_NAMES = (b"episode", b"corrects", b"\\u")
_UNDECIDED = "preview"


class FollowUps:
    """Decides for episodes. One for an application."""

    def __init__(self, decider: Decider, episodes: Episodes) -> None:
        self._decider = decider
        self.episodes = episodes

    def concerns(self, body: bytes) -> bool:
        """Whether a request may be about an episode; false only where it cannot be."""
        return any(name in body for name in _NAMES)

    def known(self, body: bytes, organisation: str) -> Known | None:
        """What is known of the episode of a request, read from the database; None when it names none. Raises
        InvalidAssessment where the request does not fit the episode, and StoreUnavailable."""
        try:
            value = read_json(body)
        except NotJson:
            return None  # deciding says so
        return self.episodes.known(organisation, value)

    def entry(self, body: bytes, caller: Caller, retry: Retry | None, known: Known) -> Entry:
        """The decision as an entry that changes its episode with it. Raises as `Decider.preview`; appending
        it meets EpisodeMoved when the episode has got another part since it was read."""
        completion = self.episodes.completing(known)
        decision, writer = self._decider.decision(body, completing=completion)
        decision_id = self._decider.new_id()
        part = contact_of(decision, decision_id, known.corrects)
        member = self._member(known, completion, decision, part)
        return Entry(
            kind="decision",
            id=decision_id,
            organisation=caller.organisation,
            at=decision.decided_at,
            data=writer.write(decision, decision_id, body, caller, member),
            decision=decision_index(decision, writer),
            retry=retry,
            also=self.episodes.changing(known, part, self.episodes.after(known, part)),
        )

    def preview(self, body: bytes, known: Known) -> bytes:
        """The same answer, stored nowhere and without an id. Raises as `Decider.preview`."""
        decision, writer, member = self.previewed(body, known)
        return writer.write(decision, None, body, None, member)

    def previewed(
        self, body: bytes, known: Known, *, form: bool = False
    ) -> tuple[Decision, RecordWriter, bytes]:
        """The decision of a preview, the writer of its edition, and what its record says of the episode."""
        completion = self.episodes.completing(known, form=form)
        decision, writer = self._decider.decision(body, form=form, completing=completion)
        part = contact_of(decision, _UNDECIDED, known.corrects)
        return decision, writer, self._member(known, completion, decision, part)

    def _member(
        self, known: Known, completion: Completion | None, decision: Decision, part: Contact
    ) -> bytes:
        calendar = self._decider.rules.calendars[decision.assessment.calendar]
        return orjson.dumps(episode_record(self.episodes, known, completion, decision, part, calendar))
