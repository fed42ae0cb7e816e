"""What a deployment may set, from the environment; checked at start, all faults at once."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import LimbtierError

DEFAULT_RULE_SET = "core"
DEFAULT_LOG_ORIGIN = "limbtier.invalid/log"
# Read where the log of the process is set up, before the other settings are: they may be what is told.
LOG_FORMAT = "LIMBTIER_LOG_FORMAT"
TRACES_TO = "LIMBTIER_TRACES_TO"
_COLLECTOR = re.compile(r"https?://[A-Za-z0-9.:\[\]-]+(/[A-Za-z0-9._~/-]*)?")
GOVERNING = "LIMBTIER_GOVERNING_ORGANISATION"
_ORIGIN = r"https?://[a-z0-9]([a-z0-9.-]*[a-z0-9])?(:[0-9]{1,5})?"
CHECKOUT = Path(__file__).resolve().parents[3]


class InvalidSettings(LimbtierError):
    """A setting of the environment cannot be used."""

    code = "invalid-settings"


@dataclass(frozen=True, slots=True)
class TokenSettings:
    """Whose signed tokens are taken. `issuer` and `audience` are compared letter by letter with the claims
    `iss` and `aud`; `keys`: file with the issuer's JSON Web Key Set; `organisation_claim`: which claim names
    the caller's organisation."""

    issuer: str
    audience: str
    keys: Path
    organisation_claim: str = "organisation"


@dataclass(frozen=True, slots=True)
class Settings:
    """`rules`: folder of rule files. `database`: a SQLite file, or the address of a PostgreSQL database.
    `log_keys`: folder of the key that signs the log; `log_origin`: the name that the log signs under.
    `most_body_bytes`: longest request body. `tokens`: whose signed tokens are taken beside local keys, None
    for nobody's. `require_idempotency_key`: whether a decision must be asked for with an `Idempotency-Key`.
    `rule_set`: the set of rules that decides when nobody asks for an edition. `signing_grace_seconds`: how
    long a service that cannot sign its log any more says that it is ready. `base_url`: where the service
    is reached from outside, without a slash at its end, None where that is not known. `cds_clients`: file of
    the CDS Hooks clients that call with tokens of their own; `cds_origins`: the origins whose pages a browser
    may let call the CDS Hooks services. `governing_organisation`: the only one whose callers change and
    release editions, None where every organisation's may."""

    rules: Path
    database: str
    log_keys: Path
    most_body_bytes: int
    log_origin: str = DEFAULT_LOG_ORIGIN
    tokens: TokenSettings | None = None
    require_idempotency_key: bool = False
    rule_set: str = DEFAULT_RULE_SET
    signing_grace_seconds: int = 900
    base_url: str | None = None
    cds_clients: Path | None = None
    cds_origins: tuple[str, ...] = ()
    traces_to: str | None = None
    governing_organisation: str | None = None


def read_settings(environment: Mapping[str, str]) -> Settings:
    """Settings from the variables that README lists, with defaults for a checkout. Raises InvalidSettings."""
    faults: list[Diagnostic] = []
    rules = Path(environment.get("LIMBTIER_RULES", CHECKOUT / "rules"))
    if not rules.is_dir():
        faults.append(_fault("LIMBTIER_RULES", f"`{rules}` is no folder.", "Name the folder of rule files."))
    database = environment.get("LIMBTIER_DATABASE", "limbtier.sqlite3")
    log_keys = _log_keys(environment, database, faults)
    origin = environment.get("LIMBTIER_LOG_ORIGIN", DEFAULT_LOG_ORIGIN)
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._~/-]{0,199}", origin):
        advice = f"Give a name of the log like an address without scheme, such as {DEFAULT_LOG_ORIGIN}."
        faults.append(_fault("LIMBTIER_LOG_ORIGIN", f"`{origin[:20]}` will not do.", advice))
    length = environment.get("LIMBTIER_MOST_BODY_BYTES", "65536")
    if not (length.isascii() and length.isdigit() and 1024 <= int(length) <= 16_777_216):
        faults.append(
            _fault(
                "LIMBTIER_MOST_BODY_BYTES", f"`{length[:20]}` will not do.", "Give 1024 to 16777216 bytes."
            )
        )
        length = "65536"
    tokens = _token_settings(environment, faults)
    required = environment.get("LIMBTIER_REQUIRE_IDEMPOTENCY_KEY", "no")
    if required not in ("yes", "no"):
        message = f"`{required[:20]}` will not do."
        faults.append(_fault("LIMBTIER_REQUIRE_IDEMPOTENCY_KEY", message, "Give `yes` or `no`."))
    rule_set = environment.get("LIMBTIER_RULE_SET", DEFAULT_RULE_SET)
    if not re.fullmatch("[a-z][a-z0-9_]*", rule_set):
        advice = f"Name a folder of editions in the rules folder, such as {DEFAULT_RULE_SET}."
        faults.append(_fault("LIMBTIER_RULE_SET", f"`{rule_set[:20]}` will not do.", advice))
    grace = environment.get("LIMBTIER_SIGNING_GRACE_SECONDS", "900")
    if not (grace.isascii() and grace.isdigit() and int(grace[:6]) <= 86_400 and len(grace) < 6):
        message = f"`{grace[:20]}` will not do."
        faults.append(_fault("LIMBTIER_SIGNING_GRACE_SECONDS", message, "Give 0 to 86400 seconds."))
        grace = "900"
    if environment.get(LOG_FORMAT, "text") not in ("text", "json"):
        message = f"`{environment[LOG_FORMAT][:20]}` will not do."
        faults.append(_fault(LOG_FORMAT, message, "Give `text` or `json`."))
    base_url, clients, origins = _cds_hooks_settings(environment, faults)
    governing = environment.get(GOVERNING)
    if governing is not None and not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._~-]{0,63}", governing):
        advice = "Name the organisation as its keys do, or leave the setting out."
        faults.append(_fault(GOVERNING, f"`{governing[:20]}` will not do.", advice))
    traces_to = environment.get(TRACES_TO) or None
    if traces_to is not None and not _COLLECTOR.fullmatch(traces_to):
        advice = "Give the address of a collector, such as http://127.0.0.1:4318/v1/traces."
        faults.append(_fault(TRACES_TO, f"`{traces_to[:20]}` will not do.", advice))
    if faults:
        raise InvalidSettings(faults)
    return Settings(
        rules,
        database,
        log_keys,
        int(length),
        origin,
        tokens,
        required == "yes",
        rule_set,
        int(grace),
        base_url,
        clients,
        origins,
        traces_to,
        governing,
    )


def _log_keys(environment: Mapping[str, str], database: str, faults: list[Diagnostic]) -> Path:
    """The folder of the log's key: beside a SQLite file unless it is named."""
    named = environment.get("LIMBTIER_LOG_KEYS")
    if "://" in database:
        if not named:
            advice = "Name a folder that only the service may read; every worker uses the same."
            faults.append(_fault("LIMBTIER_LOG_KEYS", "It is not set.", advice))
        return Path(named or "")
    if not database or not Path(database).absolute().parent.is_dir():
        message = f"`{Path(database).parent}` is no folder."
        faults.append(_fault("LIMBTIER_DATABASE", message, "Make the folder first."))
    return Path(named or f"{database}.keys")


def _token_settings(environment: Mapping[str, str], faults: list[Diagnostic]) -> TokenSettings | None:
    """The settings of signed tokens, which only make sense together."""
    claim = environment.get("LIMBTIER_TOKEN_ORGANISATION_CLAIM", "organisation")
    if not claim:
        advice = "Name the claim that holds the organisation, or leave the setting out."
        faults.append(_fault("LIMBTIER_TOKEN_ORGANISATION_CLAIM", "It is empty.", advice))
    names = ("LIMBTIER_TOKEN_ISSUER", "LIMBTIER_TOKEN_AUDIENCE", "LIMBTIER_TOKEN_KEYS")
    issuer, audience, keys = (environment.get(name, "") for name in names)
    missing = [name for name in names if not environment.get(name)]
    if len(missing) == len(names):
        return None
    if missing:
        advice = f"Set {', '.join(names)} to take signed tokens, or none of them to take local keys only."
        faults.extend(_fault(name, "It is not set.", advice) for name in missing)
    elif not Path(keys).is_file():
        advice = "Name the file with the issuer's JSON Web Key Set."
        faults.append(_fault("LIMBTIER_TOKEN_KEYS", f"`{keys}` is no file.", advice))
    return TokenSettings(issuer, audience, Path(keys), claim)


def _cds_hooks_settings(
    environment: Mapping[str, str], faults: list[Diagnostic]
) -> tuple[str | None, Path | None, tuple[str, ...]]:
    """Where the service is reached, which clients call it with tokens of their own, and from which pages."""
    base_url = environment.get("LIMBTIER_BASE_URL") or None
    if base_url is not None and not re.fullmatch(_ORIGIN + r"(/[A-Za-z0-9._~-]+)*", base_url):
        advice = "Give scheme, host and path without a slash at the end, as in https://cds.example.org."
        faults.append(_fault("LIMBTIER_BASE_URL", f"`{base_url[:60]}` will not do.", advice))
    named = environment.get("LIMBTIER_CDS_CLIENTS")
    if named and not Path(named).is_file():
        advice = "Name the file with the list of CDS Hooks clients."
        faults.append(_fault("LIMBTIER_CDS_CLIENTS", f"`{named}` is no file.", advice))
    if named and base_url is None:
        advice = "Say where clients reach the service: their tokens are made for that address."
        faults.append(_fault("LIMBTIER_BASE_URL", "It is not set.", advice))
    origins = tuple(environment.get("LIMBTIER_CDS_ORIGINS", "").split())
    for origin in origins:
        if not re.fullmatch(_ORIGIN, origin):
            advice = "Give origins as browsers send them, with spaces between, as in https://ehr.example.org."
            faults.append(_fault("LIMBTIER_CDS_ORIGINS", f"`{origin[:60]}` will not do.", advice))
    return base_url, Path(named) if named else None, origins


def _fault(name: str, message: str, advice: str) -> Diagnostic:
    return Diagnostic("invalid-setting", f"{name}: {message}", advice)
