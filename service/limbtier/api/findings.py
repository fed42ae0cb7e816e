"""The one catalogue of findings: every code that an entry of `errors` in an error answer may carry."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Finding:
    """One code that an entry of `errors` may carry."""

    code: str
    meaning: str
    advice: str


_REPORT: Final = "Take no tier from this answer; decide by local policy, and report its `instance`."

FINDINGS: Final[Mapping[str, Finding]] = {
    entry.code: entry
    for entry in (
        # Of drafts and releases.
        Finding("already-approved", "The draft is approved already.", "Release it."),
        Finding(
            "area-out-of-step",
            "A wound measures many times more, or less, than at the last contact.",
            "Check the unit and the leg; if it is right, confirm it.",
        ),
        Finding(
            "bad-edition-id",
            "A text cannot be the id of an edition.",
            "Write set and version, such as `larchmere-2026.1.0`.",
        ),
        Finding(
            "bad-path",
            "A path is that of no file of an edition.",
            "Use the names that `rules/README.md` lists.",
        ),
        Finding(
            "bad-reason",
            "A reason is missing, or is no line of text.",
            "Say why in one line of at most 500 characters.",
        ),
        Finding("bad-text", "A file holds a character that no text has.", "Take it out."),
        Finding(
            "bad-version",
            "A text is no version of an edition.",
            "Write year and two numbers, such as `2026.1.0`.",
        ),
        Finding(
            "base-changed",
            "What a draft is based on, or its guard rails, changed since it was checked.",
            "Check and prove it again.",
        ),
        Finding(
            "base-not-released",
            "The base of a draft is not released, or retired.",
            "Base it on an edition that is released.",
        ),
        Finding(
            "before-first-contact",
            "An event happened before the first contact of the episode, or would have after a correction.",
            "Check the day and the time; what was known by the first contact is answered with it.",
        ),
        Finding(
            "check-has-errors",
            "The check of the draft found errors.",
            "Mend what it names, save, and check again.",
        ),
        Finding(
            "clock-behind",
            "The clock of the service is behind the last entry of its log.",
            "Tell whoever runs the service.",
        ),
        Finding(
            "contradicts-history",
            "An answer contradicts what the episode says.",
            "Leave it out, or correct the history.",
        ),
        Finding(
            "corrected-before",
            "A decision or event is corrected that was corrected before.",
            "Correct the one that took its place.",
        ),
        Finding(
            "differs-from-history",
            "A warning, never an error: an answer differs from the history on the careful side.",
            "Look which of both is right; the answer counts.",
        ),
        Finding(
            "draft-changed",
            "The draft was saved or discarded since it was read.",
            "Read it again and decide anew.",
        ),
        Finding(
            "draft-exists",
            "There is a draft with this id already.",
            "Change it with its ETag, or take another version.",
        ),
        Finding("draft-too-large", "A draft has too many files or bytes.", "Keep to what the help says."),
        Finding(
            "edition-changed",
            "The files of an edition in the rules folder are not those that were loaded.",
            "Put them back.",
        ),
        Finding(
            "edition-exists",
            "There is an edition with this id, which is never changed.",
            "Take another version.",
        ),
        Finding(
            "effective-from-past",
            "The first day of the edition has passed.",
            "Write today or a later day, and start over.",
        ),
        Finding(
            "episode-closed",
            "The episode was closed before that day.",
            "Begin a new one, or take the closing event back.",
        ),
        Finding(
            "girth-out-of-step",
            "A girth differs by a factor from that of the last contact.",
            "Check the unit, the marks and the leg; if it is right, confirm it.",
        ),
        Finding(
            "judging-in-progress",
            "This worker is checking or proving another draft.",
            "Try again in a minute.",
        ),
        Finding(
            "last-in-force",
            "No other released edition of the set that decides is in force.",
            "Release another one first.",
        ),
        Finding(
            "hides-result",
            "An arterial test without a ratio, or of an unknown day, would take the place of a result.",
            "Leave it out, or give what is missing; at a contact it can be confirmed.",
        ),
        Finding(
            "later-contacts",
            "A warning, never an error: the episode has later contacts or events.",
            "Look whether later decisions still hold.",
        ),
        Finding(
            "limbs-look-swapped",
            "The girths of a leg are those that the other leg had last.",
            "Check which leg is which; if it is right, confirm it.",
        ),
        Finding(
            "newer-release",
            "An edition of the set is released from the same or a later day.",
            "Write a later day.",
        ),
        Finding("no-files", "A draft has no file.", "Send all its files."),
        Finding(
            "not-approved", "The draft is not approved.", "Have it approved by somebody who never saved it."
        ),
        Finding("not-checked", "The draft was not checked since it was saved.", "Check it."),
        Finding(
            "not-for-this-event",
            "An event has a field that events of its kind do not take.",
            "Leave it out.",
        ),
        Finding(
            "not-governing",
            "One organisation governs the editions of this service, and the caller is of another.",
            "Ask its governance team.",
        ),
        Finding(
            "not-proved",
            "A statement about every assessment is not proved of the draft.",
            "Mend the rules; see its `proof`.",
        ),
        Finding(
            "not-released",
            "The edition is retired already, or was never released.",
            "There is nothing to retire.",
        ),
        Finding(
            "nothing-left",
            "Nothing would be left of the episode.",
            "Correct the decision by a new one instead.",
        ),
        Finding(
            "older-measurement",
            "A warning, never an error: a later measurement is known and counts.",
            "Correct the day if it is the newer one.",
        ),
        Finding(
            "own-draft", "Who saved a draft cannot approve it.", "Ask somebody else with the scope `approve`."
        ),
        Finding(
            "precondition-required",
            "The request does not say which state it is made for.",
            "Send `If-Match`, or `If-None-Match: *`.",
        ),
        Finding(
            "release-not-loaded",
            "An edition was released that this worker cannot load.",
            "Tell whoever runs the service.",
        ),
        Finding(
            "set-of-another",
            "Another organisation releases the editions of the set.",
            "Take a set of your own.",
        ),
        Finding(
            "too-many-drafts", "The organisation has as many drafts as it may have.", "Discard some of them."
        ),
        Finding(
            "unknown-draft",
            "There is no such draft of the caller's organisation.",
            "`/v1/drafts` lists them.",
        ),
        # Of all else.
        Finding(
            "bad-authorization-header",
            "The header Authorization stands twice or is no bearer token.",
            "Send it once, as `Bearer`, a space, and the token.",
        ),
        Finding(
            "bad-episode-reference",
            "The episode reference has a form that cannot be used.",
            "Use 1 to 64 letters, digits, and `. _ ~ -`, beginning with a letter.",
        ),
        Finding("bad-format", "A text does not have the form of its field.", "Write it as the help says."),
        Finding("bad-header", "A header of the request cannot be read.", "Correct the client."),
        Finding(
            "bad-idempotency-key",
            "The header Idempotency-Key stands twice, or is no text of 1 to 255 characters in quotes.",
            'Send it once, such as `Idempotency-Key: "0b7a4f6e-6a0c"`.',
        ),
        Finding(
            "bad-parameter",
            "A query parameter does not have the form it takes here, or is missing.",
            "Write it as the help says.",
        ),
        Finding("body-too-large", "The body is longer than is accepted.", "Send one assessment a request."),
        Finding(
            "contradicting-answer",
            "A question is answered although another answer says it is not asked.",
            "Correct one of the two, or leave the answer out.",
        ),
        Finding(
            "dates-out-of-order",
            "A tier is said to be on for longer than compression itself.",
            "Correct one of the two days.",
        ),
        Finding(
            "edition-unavailable",
            "The edition that made a decision is not on the service as it was.",
            "Put its rule files back, unchanged.",
        ),
        Finding(
            "empty-limb",
            "A leg is given without any answer.",
            "Answer at least one question about the leg, or leave the leg out.",
        ),
        Finding("engines-disagree", "The two engines named different rules for a leg.", _REPORT),
        Finding(
            "foreign-cursor",
            "A cursor was taken along to another question, or to another organisation.",
            "Ask for the first page, without a cursor.",
        ),
        Finding(
            "future-date",
            "A day lies after the day of the assessment.",
            "Give a day on or before the assessment.",
        ),
        Finding("guard-rail-broken", "The decision for a leg would break a guard rail.", "Report it."),
        Finding(
            "idempotency-key-missing",
            "The service takes a decision only with a key.",
            "Send the header `Idempotency-Key`.",
        ),
        Finding(
            "idempotency-key-reused",
            "The key belongs to a request with another body.",
            "Use a new key.",
        ),
        Finding(
            "impossible-date",
            "A date or a moment does not exist.",
            "Write year-month-day; a moment also with time and offset.",
        ),
        Finding(
            "insufficient-scope",
            "The token is good, but lacks the scope that is needed.",
            "Use a token with that scope.",
        ),
        Finding("internal-error", "The service failed in a way that nobody foresaw.", _REPORT),
        Finding("malformed-request", "The request is no proper HTTP.", "Correct the client."),
        Finding("matcher-fault", "The second engine gave no sound answer for a leg.", _REPORT),
        Finding(
            "method-not-allowed",
            "The method is none of those the address takes.",
            "Use one of those in the header `Allow`.",
        ),
        Finding(
            "misplaced-input",
            "An input stands under the person and belongs to a leg, or the reverse.",
            "Move it to where the help says.",
        ),
        Finding("missing-field", "A field that is always needed is missing.", "Give it."),
        Finding(
            "not-acceptable",
            "The header Accept takes none of the forms that there are.",
            "Ask for one of these forms.",
        ),
        Finding(
            "no-edition-in-force",
            "No edition was in force at that moment.",
            "Name an edition, or tell whoever runs the service.",
        ),
        Finding("no-limb", "No leg was assessed.", "Give `left`, `right` or both."),
        Finding(
            "no-token", "The request carries no bearer token.", "Send the header `Authorization: Bearer`."
        ),
        Finding(
            "no-such-proof",
            "There is no proof for these numbers: the log does not have that size, or their order is wrong.",
            "Give numbers within the size of the log, the smaller first.",
        ),
        Finding(
            "not-json",
            "The text is no JSON with one meaning at this place.",
            "Send JSON written by a JSON library.",
        ),
        Finding(
            "null-answer",
            "An answer is null.",
            'Leave the field out if the question was not answered; absence means "not recorded".',
        ),
        Finding(
            "out-of-range",
            "A number or a year lies outside what is accepted.",
            "Check the value and its unit.",
        ),
        Finding(
            "other-patient",
            "The assessment that was sent along is of another patient than the context names.",
            "Send the assessment of the patient in the context.",
        ),
        Finding(
            "outside-calendar",
            "A day of the assessment or of its review lies outside the bank holidays known.",
            "Check the date; whoever runs the service can extend the calendar.",
        ),
        Finding(
            "patient-number-refused",
            "The episode reference could hold a national patient number.",
            "Use a pseudonym that says nothing about the person.",
        ),
        Finding(
            "prefetch-missing",
            "The assessment was not sent along, or cannot be known to be the newest.",
            "Send what the query of discovery gives.",
        ),
        Finding("repeated-parameter", "A query parameter stands more than once.", "Give it once."),
        Finding(
            "request-in-progress",
            "A request with the same key is being answered.",
            "Send it again in a moment.",
        ),
        Finding(
            "store-unavailable",
            "The store of decisions could not be opened, read or written.",
            "Try again; if it stays, tell whoever runs the service.",
        ),
        Finding("token-expired", "The token has expired.", "Get a new one."),
        Finding(
            "token-refused",
            "The token is not accepted.",
            "Use a key that is in use, or get a new token; the log of the service says why.",
        ),
        Finding(
            "range-out-of-order",
            "A range begins with its larger number.",
            "Write the smaller number first.",
        ),
        Finding(
            "too-many-decimals",
            "A number has more decimals than it is measured to.",
            "Round it as the question says.",
        ),
        Finding(
            "unknown-card",
            "No card of this organisation has this id.",
            "Use the `uuid` of a card that was given.",
        ),
        Finding(
            "too-much-work",
            "Too much long work waits already.",
            "Ask again in a minute.",
        ),
        Finding("unknown-choice", "A text is none of the choices.", "Use one of the choices."),
        Finding("unknown-decision", "No decision has this id.", "Compare the id."),
        Finding("unknown-edition", "No edition has this id.", "List the editions to see their ids."),
        Finding(
            "unknown-episode",
            "The organisation has no episode of this reference.",
            "Compare the reference.",
        ),
        Finding("unknown-impact", "No impact was measured under this id.", "Measure it again."),
        Finding("unknown-field", "The request has no such field.", "Leave it out, or correct its name."),
        Finding(
            "unknown-input", "The vocabulary has no such input.", "Correct its name; see the vocabulary."
        ),
        Finding("unknown-parameter", "The address takes no such query parameter.", "Remove it."),
        Finding("unknown-problem", "No problem type has this name.", "List them at `/problems`."),
        Finding("unknown-route", "Nothing answers at this path.", "Compare the path with the description."),
        Finding("unknown-service", "No CDS Hooks service has this id.", "List them at `/cds-services`."),
        Finding("unsupported-encoding", "The body is compressed.", "Send it uncompressed."),
        Finding(
            "unsupported-media-type",
            "The body is not declared as JSON in UTF-8.",
            "Send `Content-Type: application/json`.",
        ),
        Finding(
            "unsupported-by-prover",
            "The edition holds something that has no formula.",
            "Take it out, or leave the edition unproved.",
        ),
        Finding(
            "work-failed",
            "Long work on an edition failed in a way that nobody foresaw.",
            "Ask again in two minutes; if it stays, report it.",
        ),
        Finding(
            "unusual-value",
            "A warning, never an error: a value is accepted but outside the usual.",
            "Check the entry.",
        ),
        Finding("wrong-hook", "The service is for another hook.", "Call it for its own hook."),
        Finding(
            "wrong-type",
            "A value is of another type than its field.",
            "Flags are `true` and `false`, numbers are numbers, dates are texts; nothing is converted.",
        ),
    )
}
