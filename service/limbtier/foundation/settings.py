"""What a deployment may set, from the environment; checked at start, all faults at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import LimbtierError

CHECKOUT = Path(__file__).resolve().parents[3]


class InvalidSettings(LimbtierError):
    """A setting of the environment cannot be used."""

    code = "invalid-settings"


@dataclass(frozen=True, slots=True)
class Settings:
    """`rules`: folder of rule files. `database`: the SQLite file. `most_body_bytes`: longest request body."""

    rules: Path
    database: Path
    most_body_bytes: int


def read_settings(environment: Mapping[str, str]) -> Settings:
    """Settings from LIMBTIER_RULES, LIMBTIER_DATABASE and LIMBTIER_MOST_BODY_BYTES, with defaults for a
    checkout. Raises InvalidSettings."""
    faults: list[Diagnostic] = []
    rules = Path(environment.get("LIMBTIER_RULES", CHECKOUT / "rules"))
    if not rules.is_dir():
        faults.append(_fault("LIMBTIER_RULES", f"`{rules}` is no folder.", "Name the folder of rule files."))
    database = Path(environment.get("LIMBTIER_DATABASE", "limbtier.sqlite3"))
    if not database.absolute().parent.is_dir():
        faults.append(
            _fault("LIMBTIER_DATABASE", f"`{database.parent}` is no folder.", "Make the folder first.")
        )
    length = environment.get("LIMBTIER_MOST_BODY_BYTES", "65536")
    if not (length.isascii() and length.isdigit() and 1024 <= int(length) <= 16_777_216):
        faults.append(
            _fault(
                "LIMBTIER_MOST_BODY_BYTES", f"`{length[:20]}` will not do.", "Give 1024 to 16777216 bytes."
            )
        )
        length = "65536"
    if faults:
        raise InvalidSettings(faults)
    return Settings(rules, database, int(length))


def _fault(name: str, message: str, advice: str) -> Diagnostic:
    return Diagnostic("invalid-setting", f"{name}: {message}", advice)
