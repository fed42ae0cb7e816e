"""Brings the tables of a database up to those of this version, once, also when many processes start."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from sqlalchemy import Connection, Engine, inspect, text

from limbtier.store.faults import fault
from limbtier.store.tables import REVISION

_MIGRATIONS: Final = Path(__file__).with_name("migrations")
_LOCK: Final = 5_484_220_417_301_862_413  # any number, the same in all processes: PostgreSQL locks by number


def bring_up_to_date(engine: Engine) -> None:
    """Make or change the tables where they are older. Raises StoreUnavailable for a database that is newer
    than this version, or that holds the tables of something else."""
    with engine.connect() as connection:
        if _revision(connection) == REVISION:
            return
        sqlite = engine.dialect.name == "sqlite"
        connection.exec_driver_sql("BEGIN EXCLUSIVE" if sqlite else "BEGIN")
        try:
            if not sqlite:
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")
            _migrate(connection, _revision(connection))
            connection.exec_driver_sql("COMMIT")
        except BaseException:
            connection.exec_driver_sql("ROLLBACK")
            raise


def _migrate(connection: Connection, revision: str | None) -> None:
    if revision == REVISION:  # another process was first
        return
    from alembic import command  # noqa: PLC0415 - a fifth of a second, and most starts do not need it
    from alembic.config import Config  # noqa: PLC0415
    from alembic.script import ScriptDirectory  # noqa: PLC0415

    config = Config(attributes={"connection": connection})
    config.set_main_option("script_location", str(_MIGRATIONS).replace("%", "%%"))
    known = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
    if revision is not None and revision not in known:
        raise fault(
            f"The database was made by a newer version: its tables are at revision {revision}, "
            f"this version knows them up to {REVISION}.",
            "Install the version that last used this database, or a newer one. Nothing was changed.",
        )
    if revision is None and (others := sorted(inspect(connection).get_table_names())):
        raise fault(
            f"The database holds tables that are not of this log: {', '.join(others[:5])}.",
            "Name an empty or a new database. Nothing was changed.",
        )
    command.upgrade(config, "head")


def _revision(connection: Connection) -> str | None:
    """The revision that the tables are at; None where there are none of ours."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    found: str | None = connection.scalar(text("SELECT version_num FROM alembic_version"))
    return found
