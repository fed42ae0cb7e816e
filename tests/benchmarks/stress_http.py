"""Kills the service while clients ask it for decisions: `python -m tests.benchmarks.stress_http`.

As `tests.benchmarks.stress`, over HTTP: every decision whose answer a client had read must stand in the log
exactly once, byte for byte, and the log must prove itself.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import random
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from http.client import HTTPConnection
from pathlib import Path

import uvicorn

from limbtier.app import from_settings
from limbtier.foundation.settings import CHECKOUT, read_settings
from limbtier.store.entries import EntryStore
from limbtier.store.keys import KeyTable
from limbtier.store.opening import open_database
from limbtier.use_cases.manage_keys import KeyManager
from tests.benchmarks.stress import ORIGIN, READY, stress

CLIENTS = 4
BODIES = (CHECKOUT / "demo_data" / "assessments.jsonl").read_bytes().splitlines()[:40]


@dataclass(frozen=True)
class Service:
    """One process with the service and its clients, so that one kill ends them at the same moment."""

    database: str
    keys: Path

    def commands(self) -> Sequence[Sequence[str]]:
        """The process."""
        module = "tests.benchmarks.stress_http"
        return [(sys.executable, "-m", module, "--serve", self.database, str(self.keys))]


def serve_under_load(database: str, keys: str) -> None:
    """Serve, ask, and print what was acknowledged, until killed."""
    settings = read_settings(
        {"LIMBTIER_DATABASE": database, "LIMBTIER_LOG_KEYS": keys, "LIMBTIER_LOG_ORIGIN": ORIGIN}
    )
    opened = open_database(database)
    store = EntryStore(opened)
    _, token = KeyManager(KeyTable(opened), lambda one: store.append([one])).add("integrator", "quillerbeck")
    opened.close()
    server = uvicorn.Server(uvicorn.Config(from_settings(settings), port=0, log_level="error"))
    threading.Thread(target=server.run, daemon=True).start()
    while not server.started:
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    clients = [threading.Thread(target=ask, args=(port, token, number)) for number in range(CLIENTS)]
    for client in clients:
        client.start()
    for client in clients:
        client.join()


_printing = threading.Lock()
_begun = threading.Barrier(CLIENTS)


def ask(port: int, token: str, number: int) -> None:
    """Ask for decisions one after the other, every second one with a key of its own."""
    connection = HTTPConnection("127.0.0.1", port)
    chance = random.Random(f"{os.getpid()}-{number}")
    count = 0
    while True:
        headers = {"Content-Type": "application/json", "Authorization": f"Bearer {token}"}
        if count % 2:
            headers["Idempotency-Key"] = f'"{os.getpid()}-{number}-{count}"'
        connection.request("POST", "/v1/decisions", chance.choice(BODIES), headers)
        answer = connection.getresponse()
        data = answer.read()
        if answer.status == 201:
            entry_id = answer.headers["Location"].rpartition("/")[2]
            with _printing:
                if count:
                    sys.stdout.write(f"{entry_id} {hashlib.sha256(data).hexdigest()}\n")
                    sys.stdout.flush()
        if not count and _begun.wait() == 0:
            sys.stdout.write(f"{READY}\n")
            sys.stdout.flush()
        count += 1


def main() -> None:
    """Kill so often, and print what was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--serve", nargs=2, metavar=("DATABASE", "KEYS"), help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.serve:
        serve_under_load(*options.serve)
        return
    with tempfile.TemporaryDirectory() as folder:
        database, keys = str(Path(folder) / "log.sqlite3"), Path(folder) / "keys"
        started = time.monotonic()
        outcome = stress(Service(database, keys), database, keys, options.runs, random.Random(1))
    print(
        f"{outcome.runs} kills in {time.monotonic() - started:.0f} s: {len(outcome.acknowledged)} decisions "
        f"acknowledged, {outcome.entries} entries, {outcome.checkpoints} checkpoints, "
        f"{len(outcome.lost)} lost"
    )
    sys.exit(1 if outcome.lost else 0)


if __name__ == "__main__":
    main()
