"""A route whose function takes the request as it is and gives the response as it is."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import Any

from fastapi import Request, Response
from fastapi.routing import APIRoute


class PlainRoute(APIRoute):
    """Described like any other. What FastAPI does for parameters and dependencies, of which there are none,
    is left out: it is half of what a request costs beside the function."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """What answers a request."""
        handler: Callable[[Request], Coroutine[Any, Any, Response]] = self.endpoint
        return handler
