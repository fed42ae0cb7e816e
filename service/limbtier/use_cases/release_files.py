"""What may be a draft: which paths its files have, and how much there may be of them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from itertools import islice
from typing import Any, Final

from limbtier.foundation.diagnostics import Diagnostic, did_you_mean, pointer
from limbtier.rulesets.digest import digest
from limbtier.rulesets.edition_files import CHANGES, HEAD, SINGLE_FILES
from limbtier.rulesets.repository import OTHER_FOLDERS
from limbtier.rulesets.shapes import EDITION_VERSION
from limbtier.use_cases.assessment_request import EDITION_PATTERN
from limbtier.use_cases.release_errors import InvalidDraft

MOST_FILES: Final = 64
MOST_BYTES: Final = 2_000_000
REASON_PATTERN: Final = r"^[^\s\x00-\x1f\x7f-\x9f][^\x00-\x1f\x7f-\x9f\u2028\u2029]{0,499}$"
"""A line of at most 500 characters that begins with one that is seen."""
PATH_PATTERN: Final = (
    "^((rules|cases)/[a-z0-9][a-z0-9_-]{0,63}\\.yaml|[A-Za-z0-9][A-Za-z0-9_-]{0,63}\\.md|"
    f"({'|'.join(name.removesuffix('.yaml') for name in SINGLE_FILES)})\\.yaml)$"
)
TEXT_PATTERN: Final = r"^[^\x00]*$"
_PATH: Final = re.compile(PATH_PATTERN.removesuffix("$") + r"\Z")
_REASON: Final = re.compile(REASON_PATTERN.removesuffix("$") + r"\Z")
_ID: Final = re.compile(EDITION_PATTERN.removesuffix("$") + r"\Z")
_VERSION: Final = re.compile(EDITION_VERSION.removesuffix("$") + r"\Z")
_WHERE: Final = "Rules go into `rules/NAME.yaml`, worked cases into `cases/NAME.yaml`, NAME in small letters."

Files = Mapping[str, str]


def require_edition_id(edition: str) -> None:
    """Raises InvalidDraft for what can be no id of an edition."""
    if _ID.match(edition) and edition.partition("-")[0] not in OTHER_FOLDERS:
        return
    message = f"`{shown(edition)}` cannot be the id of an edition."
    advice = "Write the set in small letters, a hyphen and the version, such as `larchmere-2026.1.0`."
    raise InvalidDraft([Diagnostic("bad-edition-id", message, advice)])


def read_members(value: Any, known: tuple[str, ...]) -> Mapping[str, Any]:
    """The members of a body, all of them known. Raises InvalidDraft."""
    if not isinstance(value, dict):
        raise InvalidDraft([Diagnostic("wrong-type", "The body is no object.", "Send one object.", "")])
    found = [
        Diagnostic(
            "unknown-field",
            f"There is no field `{shown(name)}` here.",
            did_you_mean(name[:60], known, "Remove it."),
            pointer(name),
        )
        for name in islice((name for name in value if name not in known), MOST_FILES)
    ]
    if found:
        raise InvalidDraft(found)
    return value


def read_files(value: Any) -> Files:
    """The files of a draft, text by path. Raises InvalidDraft that names every bad one."""
    if not isinstance(value, dict):
        advice = "Send an object with the text of each file under its path."
        raise InvalidDraft([Diagnostic("wrong-type", "`files` is no object.", advice, pointer("files"))])
    found: list[Diagnostic] = []
    if not value:
        found.append(Diagnostic("no-files", "There is no file.", "Send all files.", pointer("files")))
    if len(value) > MOST_FILES:
        message = f"There are {len(value)} files."
        advice = f"Send at most {MOST_FILES}; join some of them."
        raise InvalidDraft([Diagnostic("draft-too-large", message, advice, pointer("files"))])
    for path, text in value.items():
        found += _faults(path, text)
    if not found and (size := sum(len(text.encode()) for text in value.values())) > MOST_BYTES:
        message = f"The files have {size:,} bytes together."
        advice = f"Keep them to {MOST_BYTES:,} bytes."
        found.append(Diagnostic("draft-too-large", message, advice, pointer("files")))
    if found:
        raise InvalidDraft(found)
    return value


def read_reason(value: Any, *, required: bool = False) -> str | None:
    """Why a step is taken, for the log; None where it is not said. Raises InvalidDraft."""
    if value is None and not required:
        return None
    if isinstance(value, str) and _REASON.match(value):
        return value
    message = "`reason` is missing." if value is None else "`reason` cannot be used."
    advice = "Say why in one line of at most 500 characters. It stays in the log for good; name no people."
    raise InvalidDraft([Diagnostic("bad-reason", message, advice, pointer("reason"))])


def read_copy(value: Any) -> tuple[str, str, str | None, str | None]:
    """What a copy is asked with: its source, version, first day or None, and reason or None. Raises
    InvalidDraft."""
    members = read_members(value, ("copy_of", "version", "effective_from", "reason"))
    found: list[Diagnostic] = []
    source, version = members.get("copy_of"), members.get("version")
    first = members.get("effective_from")
    if not isinstance(source, str) or not _ID.match(source):
        advice = "Name an edition or a draft, such as `larchmere-2026.1.0`."
        found.append(Diagnostic("bad-edition-id", "`copy_of` names no edition.", advice, pointer("copy_of")))
    if not isinstance(version, str) or not _VERSION.match(version):
        advice = "Write year and two numbers, such as `2026.1.0`."
        found.append(Diagnostic("bad-version", "`version` is no version.", advice, pointer("version")))
    if first is not None and not (isinstance(first, str) and _is_day(first)):
        advice = "Write it as `2026-01-31`, or leave it out for that of the source."
        message = "`effective_from` is no day."
        found.append(Diagnostic("impossible-date", message, advice, pointer("effective_from")))
    if found or not isinstance(source, str) or not isinstance(version, str):
        raise InvalidDraft(found)
    return source, version, first, read_reason(members.get("reason"))


def _is_day(text: str) -> bool:
    try:
        return (
            re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text) is not None
            and date.fromisoformat(text) > date.min
        )
    except ValueError:
        return False


def bytes_of(files: Files) -> dict[str, bytes]:
    """The files as they would lie in a folder."""
    return {path: text.encode() for path, text in files.items()}


def digest_of(files: Files) -> str:
    """The digest over the files alone, whatever they are based on."""
    return digest(bytes_of(files))


def copied(files: Files, version: str, source: str, effective_from: str | None) -> Files:
    """The files of an edition as a draft with another version, the rest as it was. `source` is the id of what
    is copied; `effective_from` a day, or None for the same."""
    head = files.get(HEAD, "")
    for key, text in (("version", version), ("status", "draft"), ("effective_from", effective_from)):
        if text is not None:
            head = re.sub(rf"(?m)^{key}:.*$", f"{key}: {text}", head, count=1)
    told = f"## {version}\n\nThe content of {source}, as it was, under a new version.\n\n"
    return {**files, HEAD: head, CHANGES: told + files.get(CHANGES, "")}


def shown(text: str) -> str:
    """A text from outside in a message: short, and nothing that cannot be seen."""
    return "".join(letter if letter.isprintable() else "?" for letter in text[:60])


def _faults(path: str, text: Any) -> list[Diagnostic]:
    where = pointer("files", path)
    found = []
    if not _PATH.match(path):
        named = did_you_mean(path[:60], (*SINGLE_FILES, CHANGES), _WHERE)
        message = f"`{shown(path)}` is no file of an edition."
        found.append(Diagnostic("bad-path", message, named, where))
    if not isinstance(text, str):
        message = f"`{shown(path)}` is no text."
        found.append(Diagnostic("wrong-type", message, "Send the text of the file.", where))
    elif "\0" in text:
        message = f"`{shown(path)}` holds the character NUL."
        found.append(Diagnostic("bad-text", message, "Send plain text; take the character out.", where))
    return found
