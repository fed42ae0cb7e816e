"""A CDS Hooks call beside the plain decision of the same assessment: `python -m tests.benchmarks.cds_hooks`.

Both are durable, over HTTP, on one worker and one connection, in interleaved rounds. The assessment is of no
episode, so that no history grows while it is measured. Nothing is asserted.
"""

from __future__ import annotations

import os
import platform
import statistics
import time
import uuid

import orjson

from limbtier.use_cases.ready_rules import ready_rules
from tests.benchmarks.speed import MICROSECONDS, RULES, connect, percentile, post, served
from tests.support.cds_hooks import VIEW, answered, assessment, call, found

ROUNDS = 1200
PASSED_OVER = 200


def main() -> None:
    """Measure and print."""
    contact = assessment()
    del contact["episode"]
    response = answered(ready_rules(RULES), contact)
    plain = orjson.dumps(contact)
    decisions, cards = "/v1/decisions", f"/cds-services/{VIEW}"
    times: dict[str, list[float]] = {decisions: [], cards: []}
    sizes: dict[str, tuple[int, int]] = {}
    with served(noop=False) as port:
        connection = connect(port)
        for number in range(ROUNDS):
            hooked = call(found(response), hookInstance=str(uuid.uuid4()))
            for path, body in ((decisions, plain), (cards, orjson.dumps(hooked))):
                start = time.perf_counter()
                answer = post(connection, path, body)
                if number >= PASSED_OVER:
                    times[path].append((time.perf_counter() - start) * MICROSECONDS)
                sizes[path] = (len(body), len(answer))
    base = statistics.median(times[decisions])
    print(f"Python {platform.python_version()}, {os.cpu_count()} cores, {platform.machine()}")
    for path, measured in times.items():
        middle = statistics.median(measured)
        sent, answered_bytes = sizes[path]
        print(
            f"  POST {path:38} body {sent:6}, answer {answered_bytes:6} bytes   p50 {middle:6.0f} us   "
            f"p99 {percentile(measured, 99):6.0f} us   {middle / base:.2f}x"
        )


if __name__ == "__main__":
    main()
