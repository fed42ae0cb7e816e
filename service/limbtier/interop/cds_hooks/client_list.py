"""The clients that may call the CDS Hooks services with tokens of their own: one JSON file.

`{"clients": [{"issuer": "https://...", "keys": "client.jwks.json", "organisation": "..."}]}`, and beside
these `jku`, a list of addresses that the tokens of the client may name for its keys, and `tenants`, a
mapping from tenants to organisations, in place of `organisation`. Keys are in a file beside this one; no
address is ever fetched.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from limbtier.domain.caller import is_organisation
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean
from limbtier.foundation.settings import InvalidSettings
from limbtier.foundation.strict_json import NotJson, read_json
from limbtier.interop.key_set import IssuerKeys

MOST_BYTES: Final = 262_144
LONGEST_ISSUER: Final = 120
_MEMBERS: Final = ("issuer", "keys", "organisation", "tenants", "jku")


@dataclass(frozen=True, slots=True)
class CdsClient:
    """One client. `organisation` owns the decisions made for it, where it has no tenants; `jku` are the
    addresses of keys that its tokens may name."""

    issuer: str
    keys: IssuerKeys
    organisation: str | None
    tenants: Mapping[str, str]
    jku: frozenset[str]


def read_client_list(file: Path) -> Mapping[str, CdsClient]:
    """The clients by issuer. Raises InvalidSettings that names every fault at once."""
    faults: list[str] = []
    found: dict[str, CdsClient] = {}
    for place, entry in enumerate(_entries(file)):
        client = _client(entry, f"client {place}", file.parent, faults)
        if client is None:
            continue
        if client.issuer in found:
            faults.append(f"client {place}: the issuer stands twice")
        found[client.issuer] = client
    if not found and not faults:
        faults.append("it names no client")
    if faults:
        raise InvalidSettings([_fault(file, fault) for fault in faults])
    return found


def _entries(file: Path) -> list[Any]:
    try:
        with file.open("rb") as opened:
            data = opened.read(MOST_BYTES + 1)
    except OSError as error:
        raise InvalidSettings([_fault(file, f"it cannot be read ({error.strerror})")]) from None
    if len(data) > MOST_BYTES:
        raise InvalidSettings([_fault(file, f"it is longer than {MOST_BYTES} bytes")])
    try:
        content = read_json(data)
    except NotJson as error:
        raise InvalidSettings([_fault(file, error.diagnostics[0].message)]) from None
    entries = content.get("clients") if isinstance(content, dict) else None
    if not isinstance(entries, list) or set(content) != {"clients"}:
        raise InvalidSettings([_fault(file, "it is no object with the one list `clients`")])
    return entries


def _client(entry: Any, name: str, folder: Path, faults: list[str]) -> CdsClient | None:
    if not isinstance(entry, dict):
        faults.append(f"{name} is no object")
        return None
    own: list[str] = []
    own += [
        f"{name}: there is no member `{one}`. {did_you_mean(one, _MEMBERS, 'Take it out.')}"
        for one in sorted(entry.keys() - set(_MEMBERS))
    ]
    issuer, keys = entry.get("issuer"), entry.get("keys")
    if not (isinstance(issuer, str) and 0 < len(issuer) <= LONGEST_ISSUER and _is_plain(issuer)):
        own.append(f"{name}: `issuer` is no text of 1 to {LONGEST_ISSUER} visible ASCII characters")
    organisation, tenants = entry.get("organisation"), entry.get("tenants", {})
    if ("organisation" in entry) == ("tenants" in entry):
        own.append(f"{name} needs either `organisation` or `tenants`")
    if "organisation" in entry and not (isinstance(organisation, str) and is_organisation(organisation)):
        own.append(f"{name}: `organisation` is no name of an organisation")
    if not (isinstance(tenants, dict) and all(map(_is_organisation, tenants.values()))):
        own.append(f"{name}: `tenants` is no object from tenants to names of organisations")
    jku = entry.get("jku", [])
    if not (
        isinstance(jku, list) and all(isinstance(one, str) and one.startswith("https://") for one in jku)
    ):
        own.append(f"{name}: `jku` is no list of https addresses")
    read: IssuerKeys | None = None
    if not isinstance(keys, str) or not keys:
        own.append(f"{name}: `keys` names no file")
    else:
        try:
            read = IssuerKeys(folder / keys)
        except InvalidSettings as error:
            own += [f"{name}: {one.message}" for one in error.diagnostics]
    faults += own
    if own or read is None:
        return None
    return CdsClient(str(issuer), read, organisation, tenants, frozenset(jku))


def _is_organisation(value: Any) -> bool:
    return isinstance(value, str) and is_organisation(value)


def _is_plain(text: str) -> bool:
    return all("!" <= letter <= "~" for letter in text)


def _fault(file: Path, message: str) -> Diagnostic:
    advice = "Correct the file; README says what it holds."
    text = f"LIMBTIER_CDS_CLIENTS: `{file}` cannot be used: {message}."
    return Diagnostic("invalid-setting", text, advice)
