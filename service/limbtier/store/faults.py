"""What a fault of the database is called, and what to do about it: any of them becomes StoreUnavailable."""

from __future__ import annotations

from typing import Final

from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import StoreUnavailable

_AGAIN: Final = "Try again; if it stays, tell whoever runs the service."
_DAMAGED: Final = "Stop the service, keep the files as they are, and restore a backup (`limbtier restore`)."
_REBUILD: Final = "Make what decisions are found by anew from the log: `limbtier rebuild-index`."
_DISK: Final = "Free space for the database, then try again."

# By the names of SQLite's result codes (sqlite.org, "Result and Error Codes"), longest name first where one
# begins another.
_OF_SQLITE: Final = {
    "SQLITE_FULL": _DISK,
    "SQLITE_READONLY": "Let the service write the database file and its folder.",
    "SQLITE_BUSY": "Another process holds the database; end it, or wait for it.",
    "SQLITE_LOCKED": "Another process holds the database; end it, or wait for it.",
    "SQLITE_CANTOPEN": "Check that the folder of the database exists and that the service may use it.",
    "SQLITE_PERM": "Let the service read and write the database file.",
    "SQLITE_NOTADB": "Name another file, or restore a backup (`limbtier restore`).",
    "SQLITE_CORRUPT": _DAMAGED,
    "SQLITE_IOERR": "Check the disk of the database and the space left on it.",
}
# By SQLSTATE (PostgreSQL, appendix "PostgreSQL Error Codes"); the first two letters are the class.
_OF_POSTGRESQL: Final = {
    "53100": _DISK,
    "53300": "PostgreSQL has no connection left; allow more, or run fewer workers.",
    "55P03": "Another process holds the database; end it, or wait for it.",
    "57014": "The database took too long; check its load.",
    "25006": "The database takes no writes; name the primary server.",
    "3D000": "Make the database first, as PostgreSQL's `createdb` does.",
    "42501": "Let the role of the service make and write tables.",
    "28": "Check the role and the password in LIMBTIER_DATABASE.",
    "57": "PostgreSQL is starting or stopping; try again.",
    "XX": "PostgreSQL reports a damaged file; restore a backup.",
}
_ENDS_THE_CONNECTION: Final = ("28", "3D", "53", "57")  # role, database, resources, shutting down
_OF_THE_ROW: Final = ("23", "22")  # integrity constraint violation, data exception


class Conflict(StoreUnavailable):
    """A row cannot be kept: its key is there already, or it holds what this database takes nowhere (a null
    character in a text, with PostgreSQL). Nothing was written."""


class Busy(Exception):
    """Somebody else writes, and the caller did not want to wait. Nothing was written."""


class LogDamaged(StoreUnavailable):
    """The log holds something that it cannot have been given, or lacks what it was given."""


def unavailable(verb: str, error: BaseException) -> StoreUnavailable:
    """The error to raise for one of the driver's. `verb` is what could not be done: `read`, `written`."""
    return fault(f"The log could not be {verb}: {message_of(error)}.", advice_for(error))


def fault(message: str, advice: str = _AGAIN) -> StoreUnavailable:
    """An error of the log that has no error of the driver behind it."""
    return StoreUnavailable([Diagnostic("store-unavailable", message, advice)])


def damaged(message: str) -> LogDamaged:
    """The error for a log that is not as it was given."""
    return LogDamaged([Diagnostic("store-unavailable", message, _DAMAGED)])


def misfiled(message: str) -> StoreUnavailable:
    """The error for rows that decisions are found by and that are not what the entries say."""
    return fault(message, _REBUILD)


def message_of(error: BaseException) -> str:
    """The message of a driver's error in one line. It never holds a password: drivers do not repeat them."""
    original = _original(error)
    fields = _fields(original)
    text = str(fields.get("M") or str(original) or type(original).__name__)
    return " ".join(text.split()).rstrip(".")


def advice_for(error: BaseException) -> str:
    """What to do about a driver's error."""
    original = _original(error)
    name = str(getattr(original, "sqlite_errorname", None) or "")
    state = str(_fields(original).get("C") or "")
    for known, advice in (*_OF_SQLITE.items(), *_OF_POSTGRESQL.items()):
        if name.startswith(known) or (state and state.startswith(known)):
            return advice
    return _AGAIN


def is_conflict(error: BaseException) -> bool:
    """Whether a driver's error is about the row given, not about the database."""
    name = str(getattr(error, "sqlite_errorname", None) or "")
    state = str(_fields(error).get("C") or "")
    return name.startswith(("SQLITE_CONSTRAINT", "SQLITE_TOOBIG")) or state.startswith(_OF_THE_ROW)


def _original(error: BaseException) -> BaseException:
    """The driver's error. Where PostgreSQL turns a connection away, the driver may report that it could not
    say goodbye; what the server said is then that error's context."""
    original: BaseException = getattr(error, "orig", None) or error
    earlier: BaseException | None = original
    while earlier is not None:
        if str(_fields(earlier).get("C") or "").startswith(_ENDS_THE_CONNECTION):
            return earlier
        earlier = earlier.__context__
    return original


def _fields(error: BaseException) -> dict[str, str]:
    """The fields of an error of PostgreSQL's protocol, as its driver hands them on."""
    first = error.args[0] if error.args else None
    return first if isinstance(first, dict) else {}
