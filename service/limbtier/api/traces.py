"""A span for each request (OpenTelemetry), for a deployment that names a collector.

A span says method, template of the route and status, by the names of the semantic conventions for HTTP, and
nothing about a person, a caller or a decision: no address, no header, no error text. A caller's `traceparent`
(W3C Trace Context) is taken up, so that the call shows in the trace of the system that made it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from limbtier import __version__
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.settings import TRACES_TO, InvalidSettings

if TYPE_CHECKING:
    from opentelemetry.sdk.trace import TracerProvider

_UNMATCHED: Final = "unmatched"
_FIRST_SERVER_ERROR: Final = 500


def tracing_to(collector: str) -> TracerProvider:
    """Sends spans to a collector (OTLP over HTTP) beside the service; one that cannot be reached loses spans
    and holds up no request. Raises InvalidSettings when the extra `traces` is not installed."""
    try:
        from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter  # noqa: PLC0415
        from opentelemetry.sdk.resources import Resource  # noqa: PLC0415
        from opentelemetry.sdk.trace import TracerProvider  # noqa: PLC0415
        from opentelemetry.sdk.trace.export import BatchSpanProcessor  # noqa: PLC0415
    except ImportError:
        advice = "Install limbtier with its extra `traces`, or leave the setting out."
        message = f"{TRACES_TO}: the libraries that send traces are not installed."
        raise InvalidSettings([Diagnostic("invalid-setting", message, advice)]) from None
    about = Resource.create({"service.name": "limbtier", "service.version": __version__})
    provider = TracerProvider(resource=about)
    provider.add_span_processor(BatchSpanProcessor(OTLPSpanExporter(endpoint=collector)))
    return provider


class Traced:
    """Makes the spans. Pure ASGI, around everything else."""

    def __init__(self, app: ASGIApp, provider: TracerProvider) -> None:
        from opentelemetry.trace import SpanKind, StatusCode  # noqa: PLC0415
        from opentelemetry.trace.propagation.tracecontext import (  # noqa: PLC0415
            TraceContextTextMapPropagator,
        )

        self.app = app
        self._tracer = provider.get_tracer("limbtier", __version__)
        self._kind = SpanKind.SERVER
        self._error = StatusCode.ERROR
        self._context = TraceContextTextMapPropagator()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        carried = {
            name.decode("latin-1"): value.decode("latin-1")
            for name, value in scope["headers"]
            if name in (b"traceparent", b"tracestate")
        }
        status = _FIRST_SERVER_ERROR

        async def noting_status(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        with self._tracer.start_as_current_span(
            scope["method"],
            context=self._context.extract(carried),
            kind=self._kind,
            record_exception=False,
            set_status_on_exception=False,
        ) as span:
            try:
                await self.app(scope, receive, noting_status)
            finally:
                route = getattr(scope.get("route"), "path", _UNMATCHED)
                span.update_name(f"{scope['method']} {route}")
                span.set_attribute("http.request.method", scope["method"])
                span.set_attribute("http.route", route)
                span.set_attribute("http.response.status_code", status)
                if status >= _FIRST_SERVER_ERROR:
                    span.set_status(self._error)
