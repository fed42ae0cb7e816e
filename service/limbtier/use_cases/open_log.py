"""Opens the log of a deployment, with its database and its key."""

from __future__ import annotations

from limbtier.audit.checkpoint_key import KeyFolder
from limbtier.audit.log import Log
from limbtier.foundation.settings import Settings
from limbtier.store.database import Database
from limbtier.store.entries import EntryStore
from limbtier.store.opening import open_database


def open_log(settings: Settings, *, make: bool = True) -> tuple[Database, Log]:
    """The database and the log in it; closing the log closes both. With `make` false the database must be
    there. What is wrong with the log itself is in its `state`. Raises StoreUnavailable."""
    database = open_database(settings.database, make=make)
    log = Log(
        EntryStore(database),
        KeyFolder(settings.log_keys),
        settings.log_origin,
        signing_grace=settings.signing_grace_seconds,
    )
    return database, log
