"""Several workers on one address: each listens for itself, is started anew, and ends with its parent."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from http.client import HTTPConnection
from pathlib import Path

import pytest

from limbtier.commands.workers import listening
from limbtier.foundation.settings import CHECKOUT

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="reads /proc, as only Linux has it")

LISTENS = "0A"  # a state of /proc/net/tcp


def listeners(port: int) -> int:
    """How many sockets listen on a port."""
    lines = Path("/proc/net/tcp").read_text().splitlines()[1:]
    return sum(line.split()[1].endswith(f":{port:04X}") and line.split()[3] == LISTENS for line in lines)


def workers_of(process: int) -> list[int]:
    """The processes that it started and that serve."""
    children = Path(f"/proc/{process}/task/{process}/children").read_text().split()
    return [int(one) for one in children if b"spawn_main" in Path(f"/proc/{one}/cmdline").read_bytes()]


def until(holds: Callable[[], bool]) -> None:
    """Wait until it holds."""
    patience = time.monotonic() + 60
    while not holds():
        assert time.monotonic() < patience, "waited in vain"
        time.sleep(0.02)


@contextmanager
def two_workers(folder: Path) -> Iterator[tuple[subprocess.Popen[str], int]]:
    """The service with two workers; gives its process and its port."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    process = start(folder / "log.sqlite3", port)
    try:
        until(lambda: listeners(port) == 2 or process.poll() is not None)
        yield process, port
    finally:
        process.kill()
        if process.stderr and not process.stderr.closed:
            process.communicate()  # until nobody has the pipe: the workers have ended, too


def start(database: Path, port: int) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "limbtier.cli", "serve", "--port", str(port), "--workers", "2"]
    paths = os.pathsep.join([str(CHECKOUT / "service"), str(CHECKOUT)])
    environment = {**os.environ, "LIMBTIER_DATABASE": str(database), "PYTHONPATH": paths}
    return subprocess.Popen(command, env=environment, stderr=subprocess.PIPE, text=True)


def is_live(port: int) -> bool:
    connection = HTTPConnection("127.0.0.1", port, timeout=30)
    with closing(connection):
        connection.request("GET", "/health/live")
        return connection.getresponse().status == 200


def test_a_worker_that_ends_is_started_anew_and_all_stop_when_told(tmp_path: Path) -> None:
    with two_workers(tmp_path) as (process, port):
        first, second = workers_of(process.pid)
        os.kill(first, signal.SIGKILL)
        until(lambda: listeners(port) == 1)
        assert is_live(port)
        until(lambda: listeners(port) == 2)
        again = workers_of(process.pid)
        assert second in again
        assert first not in again
        process.terminate()
        said = process.communicate(timeout=60)[1]
        assert process.returncode == 0
        assert listeners(port) == 0
        assert "a worker ended with -9; it is started anew" in said


def test_workers_end_when_their_parent_is_killed(tmp_path: Path) -> None:
    with two_workers(tmp_path) as (process, port):
        process.kill()
        process.wait()
        until(lambda: listeners(port) == 0)


def test_an_address_that_another_process_has_is_refused(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        process = start(tmp_path / "log.sqlite3", port)
        said = process.communicate(timeout=60)[1]
    assert process.returncode == 2
    assert f"127.0.0.1 port {port}" in said


def test_workers_of_which_none_can_begin_end_the_service(tmp_path: Path) -> None:
    database = tmp_path / "log.sqlite3"
    database.write_text("no database, but long enough to be taken for one if nobody looked " * 20)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    process = start(database, port)
    said = process.communicate(timeout=60)[1]
    assert process.returncode == 2
    assert "error[store-unavailable]" in said


def test_the_sockets_of_workers_are_known_to_be_tcp() -> None:
    """What asyncio sends without delay, it knows by the protocol of the socket."""
    for shared in (False, True):
        sockets = listening("localhost", 0, shared=shared)
        assert sockets
        for one in sockets:
            assert one.proto == socket.IPPROTO_TCP
            one.close()
