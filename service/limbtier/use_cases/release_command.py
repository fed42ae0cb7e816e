"""Drafts on the command line: the same steps as over HTTP, taken by whoever holds the key that is given."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import orjson

from limbtier.domain.caller import Caller
from limbtier.domain.draft import Draft
from limbtier.foundation.clock import now
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import LimbtierError
from limbtier.foundation.settings import Settings
from limbtier.interop.bearer_tokens import TokenRefused
from limbtier.rulesets.digest import files_of
from limbtier.store.drafts import DraftTable, EditionTable
from limbtier.store.keys import KeyTable
from limbtier.use_cases.authorise import Authoriser
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.open_log import open_log
from limbtier.use_cases.record_acts import act_refused
from limbtier.use_cases.release_edition import Releases
from limbtier.use_cases.release_errors import DraftStale, InvalidDraft
from limbtier.use_cases.release_files import MOST_BYTES, MOST_FILES, Files
from limbtier.use_cases.release_rules import ReleasedRules, rules_at_start

_NEXT = {
    "draft": "check it: limbtier draft check {edition}",
    "checked": "prove it: limbtier draft prove {edition}",
    "proved": "somebody else approves it: limbtier draft approve {edition} --revision {revision}",
    "approved": "release it: limbtier draft release {edition} --revision {revision}",
}


class NotAllowed(LimbtierError):
    """Nobody acts: there is no key, it is not accepted, or it lacks the scope."""

    code = "not-allowed"


@contextmanager
def acting(settings: Settings, key: str | None, act: str, *needed: str) -> Iterator[tuple[Releases, Caller]]:
    """The steps, and who takes them: the holder of `key`, who has one of the scopes needed. An act that is
    refused for want of a scope is an entry of the log, as over HTTP. Raises NotAllowed, InvalidRuleFiles or
    StoreUnavailable."""
    if not key:
        advice = "Set LIMBTIER_KEY to your own key; `limbtier keys add` makes one."
        raise NotAllowed([Diagnostic("no-key", "LIMBTIER_KEY is not set, so nobody is acting.", advice)])
    database, log = open_log(settings)
    try:
        authoriser = Authoriser(KeyTable(database))
        authoriser.refresh()
        try:
            caller = authoriser.caller(key)
        except TokenRefused:
            advice = "Set it to a key that `limbtier keys list` shows and that is not revoked."
            found = Diagnostic("key-not-accepted", "The key in LIMBTIER_KEY is not accepted.", advice)
            raise NotAllowed([found]) from None
        if caller.scopes.isdisjoint(needed):
            log.append(act_refused(caller, act, " ".join(needed), now()))
            scopes = " or ".join(f"`{scope}`" for scope in needed)
            advice = "Have it done by somebody whose key has that scope."
            message = f"This needs the scope {scopes}, which your key does not have."
            raise NotAllowed([Diagnostic("insufficient-scope", message, advice)])
        editions = EditionTable(database)
        decider = Decider(rules_at_start(settings.rules, settings.rule_set, editions, log.store))
        released = ReleasedRules(decider, editions, log.store, settings.rules)
        releases = Releases(DraftTable(database), released, log.store, log.append)
        releases.governing = settings.governing_organisation
        yield releases, caller
    finally:
        log.close()


def files_in(folder: Path) -> tuple[str, Files]:
    """The id of the edition that a folder `<set>/<version>` holds, and its files. Raises InvalidDraft."""
    rule_set, version = folder.resolve().parts[-2:]
    paths = files_of(folder)
    if not paths:
        message = f"`{folder}` holds no files."
        raise InvalidDraft([Diagnostic("no-files", message, "Name the folder of an edition, SET/VERSION.")])
    size = sum(path.stat().st_size for path in paths.values())
    if len(paths) > MOST_FILES or size > MOST_BYTES:
        message = f"`{folder}` holds {len(paths)} files with {size:,} bytes."
        advice = f"Keep it to {MOST_FILES} files and {MOST_BYTES:,} bytes."
        raise InvalidDraft([Diagnostic("draft-too-large", message, advice)])
    found: list[Diagnostic] = []
    files: dict[str, str] = {}
    for name, path in paths.items():
        try:
            files[name] = path.read_bytes().decode()
        except UnicodeDecodeError as error:
            message = f"Byte {error.start} is not UTF-8."
            found.append(Diagnostic("bad-text", message, "Save the file as UTF-8.", file=str(path)))
    if found:
        raise InvalidDraft(found)
    return f"{rule_set}-{version}", files


def write_files(files: Files, folder: Path) -> None:
    """Write the files of a draft to a folder that is not there yet. Raises OSError."""
    folder.mkdir(parents=True)
    for name, text in files.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8", newline="")


def etag_of(releases: Releases, caller: Caller, edition: str, revision: int) -> str:
    """The ETag of a draft at a revision. Raises NotFound, and DraftStale when it is at another."""
    draft, _ = releases.find(caller, edition)
    if draft.revision != revision:
        message = f"`{edition}` is at revision {draft.revision}, not {revision}."
        advice = f"Look at what changed: limbtier draft show {edition}"
        raise DraftStale([Diagnostic("draft-changed", message, advice)])
    return draft.etag


def draft_text(draft: Draft) -> Iterator[str]:
    """A draft for people, in lines: how far it is, who took part, what was found, what comes next."""
    yield f"{draft.edition}: {draft.state}, revision {draft.revision}, saved by {', '.join(draft.savers)}"
    yield f"  files {draft.digest}"
    if draft.edition_digest is not None:
        yield f"  edition {draft.edition_digest}"
    if draft.check is not None:
        check = orjson.loads(draft.check)
        yield (
            f"  checked on {check['day']}: {check['errors']} errors, {check['warnings']} warnings, "
            f"{check['worked_cases']} worked cases, {check['checks_run']} checks"
        )
        for one in check["findings"]:
            place = ":".join(str(one[key]) for key in ("file", "line", "column") if one[key] is not None)
            yield f"    {place}: {one['severity']}[{one['code']}]: {one['message']}"
            yield f"      help: {one['help']}"
    if draft.proof is not None:
        proof = orjson.loads(draft.proof)
        yield f"  {proof['proved']} of {len(proof['statements'])} statements proved for every assessment"
        for one in proof["statements"]:
            if one["verdict"] != "proved":
                yield f"    {one['id']}: {one['statement']} ({one['verdict']})"
                yield from (f"      {line}" for line in one["answers"] or [one["reason"]])
    if draft.approver is not None:
        yield f"  approved by {draft.approver}"
    if draft.state in _NEXT:
        step = _NEXT[draft.state].format(edition=draft.edition, revision=draft.revision)
        yield f"  next: {step}"
