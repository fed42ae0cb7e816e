"""Speed and memory of the service: `python -m tests.benchmarks.speed`. Prints one table; nothing is asserted.

Ratios are taken within one run, in interleaved rounds, because a shared machine moves by a factor of two
between runs. `--long` adds 200,000 decisions and 50 reloads of every edition.
"""

from __future__ import annotations

import argparse
import gc
import os
import platform
import resource
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.client import HTTPConnection
from pathlib import Path

import uvicorn
from fastapi import Request, Response

from limbtier.api.http_protocol import ProblemProtocol
from limbtier.app import from_environment
from limbtier.domain.assessment import SIDES
from limbtier.engine.decide import decide_limb
from limbtier.foundation.clock import now
from limbtier.foundation.settings import CHECKOUT
from limbtier.foundation.strict_json import read_json
from limbtier.use_cases.assessment_request import read_assessment
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.ready_rules import ready_rules

RULES = CHECKOUT / "rules"
FIRST_CONTACT = (CHECKOUT / "demo_data" / "first_contact.json").read_bytes()
COHORT = (CHECKOUT / "demo_data" / "assessments.jsonl").read_bytes().splitlines()
MICROSECONDS = 1_000_000


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--long", action="store_true", help="also 200,000 decisions and 50 reloads")
    parser.add_argument("--serve-noop", type=int, metavar="PORT", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.serve_noop:
        serve_with_noop(options.serve_noop)
        return
    print(f"Python {platform.python_version()}, {os.cpu_count()} cores, {platform.machine()}\n")
    decisions()
    http()
    start_up()
    if options.long:
        endurance()


def decisions() -> None:
    """One limb: both engines, combination, guard rails and full trace; then its parts, over the cohort."""
    rules = ready_rules(RULES)
    prepared = rules.edition("core-2026.1.0", now())
    assert prepared is not None
    read = [read_assessment(read_json(line), rules.edition)[0] for line in COHORT]
    legs = [(one, side) for one in read for side in SIDES if side in one.limbs]
    facts = [
        decide_limb(prepared, side, one, rules.calendars[one.calendar]).trace.facts for one, side in legs
    ]
    decider = Decider(rules)
    rows: dict[str, tuple[int, Callable[[int], object]]] = {
        "rules compiled": (len(legs), lambda i: prepared.rules.read(facts[i])),
        "matcher": (len(legs), lambda i: prepared.matcher.match(facts[i])),
        "decision of one limb": (
            len(legs),
            lambda i: decide_limb(prepared, legs[i][1], legs[i][0], rules.calendars[legs[i][0].calendar]),
        ),
        "preview from bytes to bytes, first contact": (len(legs), lambda _: decider.preview(FIRST_CONTACT)),
        "preview from bytes to bytes, cohort": (len(COHORT), lambda i: decider.preview(COHORT[i])),
    }
    found: dict[str, list[float]] = {name: [] for name in rows}
    for _ in range(8):
        for name, (count, work) in rows.items():
            for place in range(count):
                start = time.perf_counter()
                work(place)
                found[name].append((time.perf_counter() - start) * MICROSECONDS)
    print(f"{len(legs)} limbs of {len(COHORT)} assessments, {len(prepared.edition.rules)} rules, 8 rounds:")
    for name, times in found.items():
        print(f"  {name:45} median {statistics.median(times):7.0f} us   p99 {percentile(times, 99):7.0f} us")
    print()


def http() -> None:
    """A preview against a POST that does nothing but has the same sizes, on one worker of the same server."""
    with served(noop=True) as port:
        answer = post(connect(port), "/v1/previews", FIRST_CONTACT)
        post(connect(port), "/noop/prime", answer)
        paths = ("/noop", "/v1/previews", "/v1/decisions")
        found: dict[str, list[float]] = {path: [] for path in paths}
        connection = connect(port)
        for round_number in range(1200):
            for path in paths:
                start = time.perf_counter()
                post(connection, path, FIRST_CONTACT)
                if round_number >= 200:
                    found[path].append((time.perf_counter() - start) * MICROSECONDS)
    base = statistics.median(found["/noop"])
    print(f"HTTP, one worker, one connection, body {len(FIRST_CONTACT)}, answer {len(answer)} bytes:")
    for path, times in found.items():
        middle = statistics.median(times)
        print(
            f"  POST {path:15} p50 {middle:6.0f} us   p99 {percentile(times, 99):6.0f} us   "
            f"{middle / base:.2f}x"
        )
    print()


def start_up() -> None:
    """From the start of the process to the first answer; then its memory."""
    with served(noop=False) as port:
        post(connect(port), "/v1/previews", FIRST_CONTACT)
        ready = time.perf_counter() - _started[-1]
        for line in COHORT:
            post(connect(port), "/v1/previews", line)
        print(f"From start to first answer {ready:.2f} s; memory after the cohort {served_memory():.0f} MB\n")


def endurance() -> None:
    """Memory over 200,000 decisions and over 50 reloads."""
    rules = ready_rules(RULES)
    decider = Decider(rules)
    for part in range(5):
        for number in range(40_000):
            decider.preview(COHORT[number % len(COHORT)])
        print(f"  after {(part + 1) * 40_000:7,} decisions: {own_memory():.1f} MB now", flush=True)
    for part in range(5):
        for _ in range(10):
            decider.rules = ready_rules(RULES)
            decider.preview(FIRST_CONTACT)
        gc.collect()
        print(f"  after {(part + 1) * 10:3} reloads: {own_memory():.1f} MB now", flush=True)
    print(f"  highest ever {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.1f} MB")


_process: list[subprocess.Popen[bytes]] = []
_started: list[float] = []
_headers = {"Content-Type": "application/json"}


@contextmanager
def served(*, noop: bool) -> Iterator[int]:
    """The service in a process of its own on a free port."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    command = [sys.executable, "-m", "limbtier.cli", "serve", "--port", str(port)]
    if noop:
        command = [sys.executable, "-m", "tests.benchmarks.speed", "--serve-noop", str(port)]
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "LIMBTIER_DATABASE": str(Path(folder) / "decisions.sqlite3")}
        add_key = ["keys", "add", "--role", "integrator", "--organisation", "quillerbeck"]
        key = subprocess.check_output([sys.executable, "-m", "limbtier.cli", *add_key], env=environment)
        _headers["Authorization"] = f"Bearer {key.decode().strip()}"
        _started.append(time.perf_counter())
        process = subprocess.Popen(command, env=environment, cwd=CHECKOUT)
        _process.append(process)
        try:
            for _ in range(1000):
                try:
                    connect(port).request("GET", "/health/live")
                    break
                except ConnectionRefusedError:
                    time.sleep(0.01)
            yield port
        finally:
            process.terminate()
            process.wait()
            _process.remove(process)


def serve_with_noop(port: int) -> None:
    """The service with one more route, which reads its body and gives an answer that was set before."""
    app = from_environment()
    prepared: list[bytes] = [b"{}"]

    @app.post("/noop")
    async def noop(request: Request) -> Response:
        await request.body()
        return Response(prepared[0], media_type="application/json")

    @app.post("/noop/prime")
    async def prime(request: Request) -> Response:
        prepared[0] = await request.body()
        return Response(b"{}", media_type="application/json")

    # First, so that it is found as soon as the resource it is compared with.
    app.router.routes.insert(0, app.router.routes.pop(-2))
    uvicorn.run(
        app, host="127.0.0.1", port=port, http=ProblemProtocol, log_level="warning", server_header=False
    )


def connect(port: int) -> HTTPConnection:
    """A connection that is kept."""
    return HTTPConnection("127.0.0.1", port, timeout=30)


def post(connection: HTTPConnection, path: str, body: bytes) -> bytes:
    """The body of the answer; anything but success ends the run."""
    connection.request("POST", path, body, _headers)
    response = connection.getresponse()
    answer = response.read()
    if response.status not in (200, 201):
        raise SystemExit(f"{path} answered {response.status}: {answer[:400]!r}")
    return answer


def percentile(times: list[float], share: int) -> float:
    """The value below which `share` percent of the times lie."""
    return sorted(times)[min(len(times) - 1, len(times) * share // 100)]


def own_memory() -> float:
    """Resident memory of this process, in MB."""
    return _resident("self")


def served_memory() -> float:
    """Resident memory of the service that is being measured, in MB."""
    return _resident(str(_process[0].pid))


def _resident(process: str) -> float:
    for line in Path(f"/proc/{process}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    raise SystemExit("memory cannot be read on this machine")


if __name__ == "__main__":
    main()
