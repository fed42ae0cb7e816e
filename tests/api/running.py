"""A real server on a port of its own, for what only shows over a socket."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import uvicorn

from limbtier.api.http_protocol import ProblemProtocol
from limbtier.use_cases.decide import ReadyRules
from tests.api.service import Service, start


@dataclass(frozen=True, slots=True)
class Server:
    """A service that listens on this machine."""

    service: Service
    port: int

    @property
    def address(self) -> str:
        """Its base address."""
        return f"http://127.0.0.1:{self.port}"


@contextmanager
def serving(rules: ReadyRules) -> Iterator[Server]:
    """Serve until the block ends."""
    service = start(rules)
    config = uvicorn.Config(service.app, host="127.0.0.1", port=0, http=ProblemProtocol, log_level="critical")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        waited_until = time.monotonic() + 30
        while not server.started and time.monotonic() < waited_until:
            time.sleep(0.01)
        assert server.started, "the server did not start"
        yield Server(service, server.servers[0].sockets[0].getsockname()[1])
    finally:
        server.should_exit = True
        thread.join(timeout=30)
