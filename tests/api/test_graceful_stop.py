"""A service that is told to stop while clients ask it for decisions answers what it has begun, and loses
nothing that it gave."""

from __future__ import annotations

import hashlib
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.client import HTTPConnection, HTTPException
from pathlib import Path

import pytest

from limbtier.store.entries import EntryStore
from limbtier.store.keys import KeyTable
from limbtier.store.opening import open_database
from limbtier.use_cases.manage_keys import KeyManager
from tests.api.service import CHECKOUT, ORIGIN, invented

BODY = invented("first_contact.json")
CLIENTS = 4
ENOUGH = 40


class Asking:
    """Clients that ask for decisions, each over one connection, until the service is gone."""

    def __init__(self, port: int, token: str) -> None:
        self._port = port
        self._headers = {"Content-Type": "application/json", "Authorization": f"Bearer {token}"}
        self.given: dict[str, str] = {}
        self.other_statuses: list[int] = []
        self.enough = threading.Event()
        self._threads = [threading.Thread(target=self._ask) for _ in range(CLIENTS)]
        for thread in self._threads:
            thread.start()

    def wait(self) -> None:
        """Until every client has lost its connection."""
        for thread in self._threads:
            thread.join(timeout=120)
            assert not thread.is_alive()

    def _ask(self) -> None:
        connection = HTTPConnection("127.0.0.1", self._port, timeout=30)
        try:
            while True:
                connection.request("POST", "/v1/decisions", BODY, self._headers)
                answer = connection.getresponse()
                data = answer.read()
                if answer.status != 201:
                    self.other_statuses.append(answer.status)
                    continue
                entry_id = answer.headers["Location"].rpartition("/")[2]
                self.given[entry_id] = hashlib.sha256(data).hexdigest()
                if len(self.given) >= ENOUGH:
                    self.enough.set()
        except (OSError, HTTPException):
            pass  # the service is gone
        finally:
            connection.close()


@contextmanager
def serving(folder: Path, workers: int) -> Iterator[tuple[subprocess.Popen[bytes], int]]:
    """The command `limbtier serve` in a process of its own."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "limbtier.cli", "serve", "--port", str(port), "--workers", str(workers)]
    process = subprocess.Popen(
        command,
        env={
            **os.environ,
            "PYTHONPATH": str(CHECKOUT / "service"),
            "LIMBTIER_DATABASE": str(folder / "log.sqlite3"),
            "LIMBTIER_LOG_KEYS": str(folder / "keys"),
            "LIMBTIER_LOG_ORIGIN": ORIGIN,
        },
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        waited_until = time.monotonic() + 120
        while not _is_live(port):
            assert process.poll() is None
            assert time.monotonic() < waited_until, "the service did not start"
            time.sleep(0.1)
        yield process, port
    finally:
        if process.poll() is None:
            process.kill()
        process.wait()


def _is_live(port: int) -> bool:
    connection = HTTPConnection("127.0.0.1", port, timeout=5)
    try:
        connection.request("GET", "/health/live")
        return connection.getresponse().status == 200
    except OSError:
        return False
    finally:
        connection.close()


@pytest.mark.parametrize("workers", [1, 2])
def test_what_was_given_before_the_service_stopped_is_in_the_log(tmp_path: Path, workers: int) -> None:
    database = open_database(tmp_path / "log.sqlite3")
    store = EntryStore(database)
    _, token = KeyManager(KeyTable(database), lambda one: store.append([one])).add("integrator", "invented")
    with serving(tmp_path, workers) as (process, port):
        asking = Asking(port, token)
        assert asking.enough.wait(timeout=120)
        process.send_signal(signal.SIGTERM)
        assert process.wait(timeout=120) in (0, -signal.SIGTERM)
        asking.wait()
    assert asking.other_statuses == []
    assert len(asking.given) >= ENOUGH
    for entry_id, digest in asking.given.items():
        entry = store.entry_by_id(entry_id)
        assert entry is not None
        assert hashlib.sha256(entry.data).hexdigest() == digest
    database.close()
