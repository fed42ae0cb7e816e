"""The application of a test: the real rules, a store of its own, and a client."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx2
import orjson
from fastapi import FastAPI
from opentelemetry.sdk.trace import TracerProvider
from starlette.testclient import TestClient

from limbtier.app import create_app
from limbtier.audit.checkpoint_key import KeyFolder
from limbtier.audit.log import Log
from limbtier.foundation.clock import Clock, now
from limbtier.foundation.settings import Settings
from limbtier.interop.bearer_tokens import TokenReader
from limbtier.store.entries import EntryStore
from limbtier.store.opening import open_database
from limbtier.use_cases.authorise import Authoriser
from limbtier.use_cases.decide import Decider, ReadyRules
from tests.support.keys import KeysInMemory

CHECKOUT = Path(__file__).resolve().parents[2]
MOST_BODY_BYTES = 65_536
ORIGIN = "limbtier.invalid/test"
JSON = {"Content-Type": "application/json"}


@dataclass(frozen=True, slots=True)
class Service:
    """One application, with what a test looks at behind it."""

    app: FastAPI
    client: TestClient
    decider: Decider
    log: Log
    keys: KeysInMemory
    authoriser: Authoriser

    def break_log(self) -> None:
        """Take away what the log stands in, as a fault of the disk might."""
        with self.log.store.database.writing() as cursor:
            for table in ("log_head", "entries"):
                cursor.execute(f"DROP TABLE {table}")

    def post(
        self, path: str, body: bytes | Mapping[str, Any], headers: Mapping[str, str] | None = None
    ) -> httpx2.Response:
        content = body if isinstance(body, bytes) else orjson.dumps(body)
        return self.client.post(path, content=content, headers={**JSON, **(headers or {})})


def start(
    rules: ReadyRules,
    decider: Decider | None = None,
    tokens: TokenReader | None = None,
    clock: Clock = now,
    database: str | None = None,
    tracing: TracerProvider | None = None,
    **more: Any,
) -> Service:
    """An application over the rules, its log in a folder of its own or in the database that is named. The
    client may do everything. `more` are further settings."""
    folder = Path(tempfile.mkdtemp(prefix="limbtier-test-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    database = database or str(folder / "log.sqlite3")
    log = Log(EntryStore(open_database(database)), KeyFolder(folder / "keys"), ORIGIN)
    chosen = decider or Decider(rules)
    settings = Settings(
        rules=CHECKOUT / "rules",
        database=database,
        log_keys=folder / "keys",
        most_body_bytes=MOST_BODY_BYTES,
        **more,
    )
    keys = KeysInMemory()
    authoriser = Authoriser(keys, tokens)
    keys.changed = authoriser.forget
    app = create_app(chosen, log, authoriser, settings, clock, tracing)
    client = TestClient(app, raise_server_exceptions=True, headers=bearer(keys.everything))
    return Service(app, client, chosen, log, keys, authoriser)


def bearer(token: str) -> dict[str, str]:
    """The header that carries a token."""
    return {"Authorization": f"Bearer {token}"}


def invented(name: str) -> bytes:
    """An invented assessment of the demo data."""
    return (CHECKOUT / "demo_data" / name).read_bytes()


def first_contact() -> dict[str, Any]:
    """The invented first contact, to be changed by a test."""
    contact: dict[str, Any] = orjson.loads(invented("first_contact.json"))
    return contact


Finding = tuple[str, str | None]


def problem_of(answer: httpx2.Response, code: str, status: int) -> list[Finding]:
    """The findings of an answer that must be this problem and nothing else: code and pointer of each."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.headers["cache-control"] == "no-store"
    problem = answer.json()
    assert set(problem) <= {"type", "title", "status", "detail", "instance", "errors"}
    assert problem["type"] == f"/problems/{code}"
    assert problem["status"] == status
    assert all(entry["detail"] and entry["help"] for entry in problem["errors"])
    assert "Traceback" not in answer.text
    return [(entry["code"], entry.get("pointer")) for entry in problem["errors"]]
