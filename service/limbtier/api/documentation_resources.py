"""The description of the API for programs and people, and a page for each problem type. All of it is served
from here; nothing on a page is fetched from elsewhere."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from html import escape
from importlib.resources import files
from typing import Final

from fastapi import FastAPI, Request, Response

from limbtier.api.findings import FINDINGS
from limbtier.api.integrators_page import POLICY, integrators_page
from limbtier.api.operations import JSON, answer, path_parameter, problems
from limbtier.api.problems import PROBLEM_TYPES
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean
from limbtier.foundation.errors import NotFound

_HTML: Final = "text/html"
_PAGE_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
)
_PAGE: Final = """<!DOCTYPE html>
<html lang="en-GB">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>limbtier API</title>
<link rel="icon" href="docs/icon.png">
<link rel="stylesheet" href="docs/page.css">
</head>
<body>
<div id="description"></div>
<noscript>The API is described at <a href="openapi.json">openapi.json</a>.</noscript>
<script src="docs/page.js"></script>
<script src="docs/start.js"></script>
</body>
</html>
"""
_START: Final = """SwaggerUIBundle({
  url: "openapi.json",
  dom_id: "#description",
  deepLinking: true,
  defaultModelsExpandDepth: 0,
  validatorUrl: null,
});
"""
_FILES: Final = {
    "page.js": ("swagger-ui-bundle.js", "text/javascript"),
    "page.css": ("swagger-ui.css", "text/css"),
    "icon.png": ("favicon-32x32.png", "image/png"),
}


def add_documentation_resources(app: FastAPI, openapi: Callable[[], bytes]) -> None:
    """`openapi` gives the description of the API as JSON."""

    async def read_description(_request: Request) -> Response:
        return Response(openapi(), media_type=JSON)

    async def show_description(_request: Request) -> Response:
        return Response(_PAGE, 200, {"Content-Security-Policy": _PAGE_POLICY}, _HTML)

    async def show_integrators_page(_request: Request) -> Response:
        return Response(integrators_page(), 200, {"Content-Security-Policy": POLICY}, _HTML)

    async def read_page_file(request: Request) -> Response:
        name = str(request.path_params["file"])
        if name == "start.js":
            return Response(_START, media_type="text/javascript")
        if name not in _FILES:
            advice = "The page is at /docs."
            raise NotFound([Diagnostic("unknown-route", "Nothing is here.", advice)])
        content, media_type = _page_file(name)
        return Response(content, 200, {"Cache-Control": "public, max-age=3600"}, media_type)

    async def list_problems(_request: Request) -> Response:
        items = "".join(
            f'<li><a href="problems/{kind.code}">{kind.code}</a>: {escape(kind.title)} ({kind.status})</li>'
            for kind in PROBLEM_TYPES.values()
        )
        return _page("Problems", f"<ul>{items}</ul>")

    async def show_problem(request: Request) -> Response:
        code = str(request.path_params["code"])
        kind = PROBLEM_TYPES.get(code)
        if kind is None:
            advice = did_you_mean(code[:60], PROBLEM_TYPES, "They are listed at /problems.")
            raise NotFound([Diagnostic("unknown-problem", "There is no such problem type.", advice)])
        rows = "".join(
            f'<tr id="{one.code}"><td><code>{one.code}</code></td><td>{_text(one.meaning)}</td>'
            f"<td>{_text(one.advice)}</td></tr>"
            for one in FINDINGS.values()
        )
        return _page(
            kind.title,
            f"<p>Type <code>{kind.type}</code>, status {kind.status}</p><p>{_text(kind.meaning)}</p>"
            f"<h2>What to do</h2><p>{_text(kind.advice)}</p><h2>Codes in <code>errors</code></h2>"
            f"<table><tr><th>code</th><th>meaning</th><th>what to do</th></tr>{rows}</table>",
        )

    app.add_api_route(
        "/openapi.json",
        read_description,
        methods=["GET"],
        operation_id="readDescription",
        tags=["documentation"],
        summary="This description, for programs",
        response_class=Response,
        responses={**answer(200, "OpenAPI 3.1.", "AnyObject"), **problems()},
    )
    app.add_api_route(
        "/docs",
        show_description,
        methods=["GET"],
        operation_id="showDescription",
        tags=["documentation"],
        summary="This description, for people",
        response_class=Response,
        responses={**answer(200, "A page that needs no internet.", None, _HTML), **problems()},
    )
    app.add_api_route(
        "/docs/integrators",
        show_integrators_page,
        methods=["GET"],
        operation_id="showIntegratorsPage",
        tags=["documentation"],
        summary="How to connect a form, step by step, with examples",
        response_class=Response,
        responses={
            **answer(200, "A page that needs no internet and no script.", None, _HTML),
            **problems("not-found"),
        },
    )
    app.add_api_route("/docs/{file}", read_page_file, methods=["GET"], include_in_schema=False)
    app.add_api_route(
        "/problems",
        list_problems,
        methods=["GET"],
        operation_id="listProblems",
        tags=["documentation"],
        summary="List the problem types",
        response_class=Response,
        responses={**answer(200, "A page.", None, _HTML), **problems()},
    )
    app.add_api_route(
        "/problems/{code}",
        show_problem,
        methods=["GET"],
        operation_id="showProblem",
        tags=["documentation"],
        summary="What a problem type means, and what to do",
        response_class=Response,
        responses={**answer(200, "A page.", None, _HTML), **problems("not-found")},
        openapi_extra={
            "parameters": [
                path_parameter("code", "The last part of a problem's `type`.", {"enum": list(PROBLEM_TYPES)})
            ]
        },
    )


@cache
def _page_file(name: str) -> tuple[bytes, str]:
    resource, media_type = _FILES[name]
    return (files("fastapi_swagger") / "resources" / resource).read_bytes(), media_type


def _page(title: str, body: str) -> Response:
    text = (
        '<!DOCTYPE html><html lang="en-GB"><head><meta charset="utf-8">'
        f"<title>{escape(title)} - limbtier</title></head><body><h1>{escape(title)}</h1>{body}</body></html>"
    )
    return Response(text, media_type=_HTML)


def _text(text: str) -> str:
    """Prose of the catalogue as HTML; what stands between backticks is code."""
    parts = escape(text).split("`")
    return "".join(f"<code>{part}</code>" if place % 2 else part for place, part in enumerate(parts))
