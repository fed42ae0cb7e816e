"""What is counted for whoever watches the service, in the text format of Prometheus.

No label holds anything about a person, a caller or a decision: routes are templates, and decisions are
counted by edition, tier and disposition. Requests are those of this process, decisions of the whole log.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from time import perf_counter
from typing import Final

from fastapi import FastAPI, Request, Response
from prometheus_client import CollectorRegistry, Counter, Histogram
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.exposition import generate_latest
from prometheus_client.registry import Collector
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from limbtier import __version__
from limbtier.api.operations import answer, problems
from limbtier.audit.log import Log
from limbtier.foundation.clock import Clock
from limbtier.foundation.errors import StoreUnavailable
from limbtier.store.decision_counts import DecisionCounts
from limbtier.use_cases.decide import Decider

TEXT: Final = "text/plain; version=0.0.4; charset=utf-8"
# The bounds that OpenTelemetry gives for http.server.request.duration, in seconds.
BOUNDS: Final = (0.005, 0.01, 0.025, 0.05, 0.075, 0.1, 0.25, 0.5, 0.75, 1, 2.5, 5, 7.5, 10)
_UNMATCHED: Final = "unmatched"
_METHODS: Final = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})


class Metrics:
    """All that one application counts."""

    def __init__(self, decider: Decider, log: Log, clock: Clock) -> None:
        self._registry = CollectorRegistry()
        self._requests = Counter(
            "limbtier_http_requests",
            "Requests answered, by route, method and status.",
            ("route", "method", "status"),
            registry=self._registry,
        )
        self._seconds = Histogram(
            "limbtier_http_request_duration_seconds",
            "From the head of a request to the end of its answer.",
            ("route",),
            buckets=BOUNDS,
            registry=self._registry,
        )
        self._known: dict[tuple[str, str, int], tuple[Counter, Histogram]] = {}
        self._registry.register(_Service(decider, log, clock))

    def count(self, route: str, method: str, status: int, seconds: float) -> None:
        """One request was answered."""
        known = self._known.get((route, method, status))
        if known is None:  # looking for it by its labels takes longer than all else here
            named = method if method in _METHODS else "other"
            known = self._requests.labels(route, named, str(status)), self._seconds.labels(route)
            if named == method:
                self._known[route, method, status] = known
        known[0].inc()
        known[1].observe(seconds)

    def text(self) -> bytes:
        """All of it, as it is now."""
        return generate_latest(self._registry)


class _Service(Collector):
    """What is read when somebody asks: the log, and the editions."""

    def __init__(self, decider: Decider, log: Log, clock: Clock) -> None:
        self._decider, self._log, self._clock = decider, log, clock
        self._counts = DecisionCounts(log.store.database)

    def describe(self) -> Iterator[Metric]:
        """Nothing is read while it is registered."""
        return iter(())

    def collect(self) -> Iterator[Metric]:
        """The metrics. What cannot be read is left out, and `limbtier_store_readable` is 0."""
        yield _info("limbtier_build_info", "The version of the service.", "version", [__version__])
        rules = self._decider.rules
        yield _info("limbtier_edition_info", "Editions that can decide.", "edition", rules.editions)
        active = rules.edition(None, self._clock())
        yield _info(
            "limbtier_active_edition_info",
            "The edition that decides when none is asked for.",
            "edition",
            [] if active is None else [active.edition.id],
        )
        yield _gauge(
            "limbtier_log_signing", "1 while the log can be signed.", self._log.signing.failing_since is None
        )
        try:
            size, counts = self._log.size, self._counts.now()
        except StoreUnavailable:
            yield _gauge("limbtier_store_readable", "1 while the store can be read.", False)
            return
        yield _gauge("limbtier_store_readable", "1 while the store can be read.", True)
        yield _gauge("limbtier_log_entries", "Entries of the log.", size)
        decided = CounterMetricFamily(
            "limbtier_decided_limbs",
            "Legs decided since the log began.",
            labels=("edition", "tier", "disposition"),
        )
        for labels, count in sorted(counts.items()):
            decided.add_metric(labels, count)
        yield decided


def _gauge(name: str, words: str, value: float) -> Metric:
    return GaugeMetricFamily(name, words, value=float(value))


def _info(name: str, words: str, label: str, values: Iterable[str]) -> Metric:
    found = GaugeMetricFamily(name, words, labels=(label,))
    for value in values:
        found.add_metric((value,), 1)
    return found


class Measured:
    """Counts every request. Pure ASGI, as `Surroundings` is, and within that."""

    def __init__(self, app: ASGIApp, metrics: Metrics) -> None:
        self.app = app
        self._metrics = metrics

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        start, status = perf_counter(), 500

        async def noting_status(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        try:
            await self.app(scope, receive, noting_status)
        finally:
            route = getattr(scope.get("route"), "path", _UNMATCHED)
            self._metrics.count(route, scope["method"], status, perf_counter() - start)


def add_metrics_resource(app: FastAPI, metrics: Metrics) -> None:
    """Query parameters are ignored here, as at the probes of health."""
    counting = ThreadPoolExecutor(max_workers=1, thread_name_prefix="limbtier-metrics")

    async def read_metrics(_request: Request) -> Response:
        text = await asyncio.get_running_loop().run_in_executor(counting, metrics.text)
        return Response(text, media_type=TEXT)

    app.add_api_route(
        "/metrics",
        read_metrics,
        methods=["GET"],
        operation_id="readMetrics",
        tags=["health"],
        summary="What is counted, for whoever watches the service",
        description="In the text format of Prometheus. No label says anything about a person, a caller or a "
        "decision. It needs no token: let nobody but the monitoring reach it.",
        response_class=Response,
        responses={**answer(200, "The counts.", None, "text/plain"), **problems()},
    )
