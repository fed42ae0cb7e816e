"""Durable decisions a second with many clients: `python -m tests.benchmarks.throughput`. Nothing is asserted.

The clients are connections of one process that send the same request again as soon as it is answered, and
read no more of an answer than its head and its length, so that they take little of the machine.
"""

from __future__ import annotations

import argparse
import os
import platform
import selectors
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.client import HTTPConnection
from pathlib import Path

from limbtier.foundation.settings import CHECKOUT

FIRST_CONTACT = (CHECKOUT / "demo_data" / "first_contact.json").read_bytes()
MILLISECONDS = 1000
WARM_UP_SECONDS = 2.0


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, default=16)
    parser.add_argument("--seconds", type=float, default=10.0)
    options = parser.parse_args()
    print(f"Python {platform.python_version()}, {os.cpu_count()} cores, {platform.machine()}")
    for workers in (1, 2):
        with served(workers) as (port, key, database):
            found = load(port, key, options.clients, options.seconds)
            times = sorted(found.times)
            print(
                f"{workers} worker(s), {options.clients} clients: "
                f"{len(times) / options.seconds:7.0f} decisions/s, "
                f"p50 {statistics.median(times):6.1f} ms, p99 {times[len(times) * 99 // 100]:6.1f} ms, "
                f"{found.refused} refused; {kept(database)} entries in the log, {found.sent} sent"
            )


@dataclass
class Found:
    """What came back: milliseconds of each answer after the warm-up."""

    times: list[float] = field(default_factory=list)
    refused: int = 0
    sent: int = 0


class Client:
    """One connection that asks again and again."""

    def __init__(self, port: int, request: bytes) -> None:
        self.socket = socket.create_connection(("127.0.0.1", port))
        self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._request = request
        self._left = -1
        self._head = b""
        self.started = 0.0
        self.made = False

    def ask(self) -> None:
        """Send the request."""
        self._left, self._head = -1, b""
        self.started = time.perf_counter()
        self.socket.sendall(self._request)

    def read(self) -> bool:
        """Read what is there; whether the answer is whole."""
        data = self.socket.recv(1 << 18)
        if not data:
            raise SystemExit("the service closed a connection")
        if self._left < 0:
            self._head += data
            end = self._head.find(b"\r\n\r\n")
            if end < 0:
                return False
            head = self._head[:end].lower()
            self.made = head.startswith(b"http/1.1 201")
            length = head.partition(b"content-length:")[2].partition(b"\r\n")[0]
            self._left = int(length) - (len(self._head) - end - 4)
        else:
            self._left -= len(data)
        return self._left <= 0


def load(port: int, key: str, clients: int, seconds: float) -> Found:
    """Ask with all clients at once, first to warm up, then for so many seconds."""
    head = (
        "POST /v1/decisions HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
        f"Authorization: Bearer {key}\r\nContent-Length: {len(FIRST_CONTACT)}\r\n\r\n"
    )
    found = Found()
    selector = selectors.DefaultSelector()
    asking = 0
    for _ in range(clients):
        client = Client(port, head.encode() + FIRST_CONTACT)
        selector.register(client.socket, selectors.EVENT_READ, client)
        client.ask()
        asking += 1
        found.sent += 1
    begin = time.perf_counter() + WARM_UP_SECONDS
    end = begin + seconds
    while asking:
        for ready, _ in selector.select():
            client = ready.data
            if not client.read():
                continue
            now = time.perf_counter()
            if not client.made:
                found.refused += 1
            elif begin <= now < end:
                found.times.append((now - client.started) * MILLISECONDS)
            if now < end:
                client.ask()
                found.sent += 1
            else:
                asking -= 1
    return found


@contextmanager
def served(workers: int) -> Iterator[tuple[int, str, Path]]:
    """The service with a new log; gives its port, an integrator's key and its database."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    with tempfile.TemporaryDirectory() as folder:
        database = Path(folder) / "log.sqlite3"
        environment = {**os.environ, "LIMBTIER_DATABASE": str(database)}
        limbtier = [sys.executable, "-m", "limbtier.cli"]
        add = [*limbtier, "keys", "add", "--role", "integrator", "--organisation", "quillerbeck"]
        key = subprocess.run(add, env=environment, capture_output=True, text=True, check=True).stdout.strip()
        command = [*limbtier, "serve", "--port", str(port), "--workers", str(workers)]
        process = subprocess.Popen(command, env=environment, cwd=CHECKOUT)
        try:
            wait_for(port)
            yield port, key, database
        finally:
            process.terminate()
            process.wait()


def wait_for(port: int) -> None:
    """Until the service answers."""
    for _ in range(2000):
        try:
            connection = HTTPConnection("127.0.0.1", port, timeout=30)
            connection.request("GET", "/health/ready")
            if connection.getresponse().status == 200:
                return
        except OSError:
            pass
        time.sleep(0.01)
    raise SystemExit("the service did not become ready")


def kept(database: Path) -> int:
    """How many decisions the log holds."""
    from limbtier.store.entries import EntryStore
    from limbtier.store.opening import open_database

    store = EntryStore(open_database(database))
    try:
        return store.count_decisions()
    finally:
        store.close()


if __name__ == "__main__":
    main()
