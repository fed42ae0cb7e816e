"""Several processes that serve one address and share the log.

Each listens with a socket of its own (SO_REUSEPORT), so that the kernel spreads the connections: of processes
that share one socket, the first to wake takes all that are kept. One that ends is started anew; all of them
end with the process that started them, also when that is killed.
"""

from __future__ import annotations

import logging
import multiprocessing
import os
import signal
import socket
import sys
import threading
import time
from contextlib import suppress
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from types import FrameType
from typing import Final

from limbtier.commands.parts import LONGEST_GOODBYE_SECONDS, UNUSABLE
from limbtier.foundation.errors import LimbtierError

_FIRST_PAUSE_SECONDS: Final = 1.0
_LONGEST_PAUSE_SECONDS: Final = 30.0

_spawn = multiprocessing.get_context("spawn")
alarm = logging.getLogger("limbtier.alarm")


def serve_with_workers(host: str, port: int, count: int) -> int:
    """Serve until told to stop (SIGTERM or SIGINT; told again, at once). Requests that are being answered are
    answered to the end. Returns the exit code: not 0 when no worker could begin to serve.

    Raises OSError when the address cannot be had.
    """
    # Held, and never listened on: it keeps the address while a worker is started anew.
    held = listening(host, port, shared=False)
    port = held[0].getsockname()[1]
    for one in held:
        one.close()
    held = listening(host, port, shared=True)
    try:
        return _Workers(host, port, count).run()
    finally:
        for one in held:
            one.close()


def listening(host: str, port: int, *, shared: bool) -> list[socket.socket]:
    """Sockets for each address of a host, bound and not yet listening; `shared` with other sockets that are
    opened so. Raises OSError."""
    found: list[socket.socket] = []
    try:
        for family, kind, protocol, _, address in socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        ):
            # With its protocol named: else asyncio does not know TCP by it and leaves Nagle's algorithm on,
            # and each answer that does not fit into one packet waits 40 ms for the caller to acknowledge.
            one = socket.socket(family, kind, protocol)
            found.append(one)
            one.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            if shared:
                one.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEPORT, 1)
            if family == socket.AF_INET6:
                one.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
            try:
                one.bind(address)
            except OSError as error:
                raise OSError(error.errno, error.strerror, f"{host} port {port}") from None
    except BaseException:
        for one in found:
            one.close()
        raise
    return found


class _Workers:
    """So many processes, kept up until this one is told to stop."""

    def __init__(self, host: str, port: int, count: int) -> None:
        self._host = host
        self._port = port
        self._count = count
        self._running: list[tuple[SpawnProcess, Connection]] = []
        self._stopping = threading.Event()

    def run(self) -> int:
        """Until told to stop. Returns the exit code."""
        before = {
            number: signal.signal(number, self._told_to_stop) for number in (signal.SIGTERM, signal.SIGINT)
        }
        try:
            return self._keep_up()
        finally:
            for process, _ in self._running:
                process.join()
            for number, handler in before.items():
                signal.signal(number, handler)

    def _keep_up(self) -> int:
        for _ in range(self._count):
            self._start()
        # They begin to listen together: a connection that is kept stays with the worker that accepted it.
        for process, pipe in self._running:
            if not _is_ready(pipe):
                if self._stopping.is_set():
                    return 0
                self._stop()
                process.join()
                return process.exitcode or UNUSABLE
        for _, pipe in self._running:
            _let_listen(pipe)
        pause = _FIRST_PAUSE_SECONDS
        while not self._stopping.is_set():
            begun_at = time.monotonic()
            wait([process.sentinel for process, _ in self._running])
            if self._stopping.is_set():
                break
            ended = [one for one in self._running if not one[0].is_alive()]
            if time.monotonic() - begun_at > _LONGEST_PAUSE_SECONDS:
                pause = _FIRST_PAUSE_SECONDS
            for one in ended:
                alarm.critical("a worker ended with %s; it is started anew", one[0].exitcode)
                self._running.remove(one)
            if self._stopping.wait(pause):
                break
            pause = min(2 * pause, _LONGEST_PAUSE_SECONDS)
            for _ in ended:
                _let_listen(self._start())
        return 0

    def _start(self) -> Connection:
        pipe, its_end = _spawn.Pipe()
        process = _spawn.Process(target=_work, args=(self._host, self._port, its_end))
        process.start()
        its_end.close()
        self._running.append((process, pipe))
        if self._stopping.is_set():  # told while it was being started
            process.terminate()
        return pipe

    def _stop(self) -> None:
        self._stopping.set()
        for process, _ in self._running:
            process.terminate()

    def _told_to_stop(self, _number: int, _frame: FrameType | None) -> None:
        if self._stopping.is_set():
            for process, _ in self._running:
                process.kill()
        self._stop()


def _is_ready(pipe: Connection) -> bool:
    """Wait until the worker has loaded what it serves; false when it ended instead."""
    try:
        return bool(pipe.recv_bytes())
    except (EOFError, ConnectionResetError):
        return False


def _let_listen(pipe: Connection) -> None:
    with suppress(BrokenPipeError):  # it has ended, which shows by itself
        pipe.send_bytes(b"listen")


def _work(host: str, port: int, pipe: Connection) -> None:
    """What a worker does."""
    with suppress(KeyboardInterrupt):  # Ctrl-C reaches every process of the terminal
        _serve(host, port, pipe)


def _serve(host: str, port: int, pipe: Connection) -> None:
    import uvicorn

    from limbtier.api.http_protocol import ProblemProtocol
    from limbtier.app import from_environment

    threading.Thread(target=_end_with_parent, name="limbtier-parent", daemon=True).start()
    try:
        application = from_environment()
        pipe.send_bytes(b"ready")
        pipe.recv_bytes()
        sockets = listening(host, port, shared=True)
    except (LimbtierError, OSError, EOFError) as error:
        print(error, file=sys.stderr)
        sys.exit(UNUSABLE)
    config = uvicorn.Config(
        application,
        http=ProblemProtocol,
        log_level="warning",
        server_header=False,
        timeout_graceful_shutdown=LONGEST_GOODBYE_SECONDS,
    )
    uvicorn.Server(config).run(sockets)


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
    os.kill(os.getpid(), signal.SIGTERM)
