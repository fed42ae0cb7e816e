"""The page for whoever connects a form: `openapi/integrators.md` as HTML. It needs no script and nothing from
elsewhere."""

from __future__ import annotations

import hashlib
import re
from base64 import b64encode
from functools import cache
from html import escape
from typing import Final

from markdown_it import MarkdownIt
from markdown_it.token import Token

from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import NotFound
from limbtier.foundation.settings import CHECKOUT

SOURCE: Final = CHECKOUT / "openapi" / "integrators.md"
SERVED_AT: Final = {"problem-types.md": "../problems", "openapi.json": "../openapi.json"}
"""Where the service shows what the page links to beside it."""

_STYLE: Final = """
body{font:1rem/1.55 system-ui,sans-serif;color:#1b1b1b;background:#fff;margin:0 auto;max-width:58rem;
padding:1rem 1.25rem 4rem;overflow-wrap:break-word}
h1,h2{line-height:1.25;margin:2em 0 .5em}
h1{margin-top:.5em}
h2{border-top:2px solid #4a4a4a;padding-top:.75em}
a{color:#0b4a9e}
a:focus,pre:focus,div:focus{outline:3px solid #0b4a9e;outline-offset:2px}
blockquote{margin:1rem 0;border:2px solid #8a5a00;background:#fff6e0;padding:0 1rem}
li{margin:.35rem 0}
code{font:.9em/1.45 ui-monospace,monospace;background:#f0f0f0;padding:.1em .25em;overflow-wrap:anywhere}
pre{background:#f0f0f0;border-left:4px solid #767676;padding:.75rem;overflow-x:auto}
pre code{background:none;padding:0;overflow-wrap:normal}
pre.output{background:#fff;border:1px solid #767676;border-left-width:4px}
.wide{overflow-x:auto}
table{border-collapse:collapse;width:100%}
th,td{border:1px solid #767676;padding:.4rem .6rem;text-align:left;vertical-align:top}
th{background:#ececec}
@media print{pre{white-space:pre-wrap}nav{display:none}}
"""
_STYLE_HASH: Final = b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
POLICY: Final = (
    f"default-src 'none'; style-src 'sha256-{_STYLE_HASH}'; frame-ancestors 'none'; base-uri 'none'; "
    "form-action 'none'"
)
"""What the page may load (Content-Security-Policy): its own style and nothing else."""


@cache
def integrators_page() -> str:
    """The page. Raises NotFound where the service was installed without its source."""
    try:
        text = SOURCE.read_text(encoding="utf-8")
    except OSError:
        advice = "Put openapi/integrators.md of the project beside the folder `service`."
        message = "This service was installed without the page for integrators."
        raise NotFound([Diagnostic("unknown-route", message, advice)]) from None
    return page_of(text)


def page_of(text: str) -> str:
    """Markdown as a page of its own: its first heading is the title, those of the second level the contents.
    HTML in it is shown and not obeyed."""
    reader = MarkdownIt("commonmark", {"html": False}).enable("table")
    tokens = reader.parse(text)
    headings = list(_name_headings(tokens))
    title = next(words for level, words, _ in headings if level == "h1")
    contents = "".join(
        f'<li><a href="#{anchor}">{escape(words)}</a></li>'
        for level, words, anchor in headings
        if level == "h2"
    )
    _point_links(tokens)
    body = reader.renderer.render(tokens, reader.options, {})
    # What is wider than a window scrolls by itself; whoever uses a keyboard must be able to get to it.
    body = re.sub(r'<pre><code class="language-(\w+)">', r'<pre class="\1" tabindex="0"><code>', body)
    body = body.replace("<table>", '<div class="wide" tabindex="0"><table>').replace(
        "</table>", "</table></div>"
    )
    start, end, rest = body.partition("</blockquote>")  # the notice that stands before all else
    return (
        '<!DOCTYPE html>\n<html lang="en-GB">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)} - limbtier</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n<main>\n"
        f'{start}{end}\n<nav aria-label="Contents"><ul>{contents}</ul></nav>{rest}</main>\n</body>\n</html>\n'
    )


def _name_headings(tokens: list[Token]) -> list[tuple[str, str, str]]:
    """Give each heading an anchor; tell level, words and anchor of each."""
    found = []
    for place, token in enumerate(tokens):
        if token.type == "heading_open":
            words = tokens[place + 1].content
            anchor = re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-")
            token.attrSet("id", anchor)
            found.append((token.tag, words, anchor))
    return found


def _point_links(tokens: list[Token]) -> None:
    """Links to files beside the source lead to where the service shows these."""
    for token in tokens:
        for part in token.children or ():
            target = part.attrGet("href") if part.type == "link_open" else None
            if isinstance(target, str):
                file, mark, place = target.partition("#")
                part.attrSet("href", f"{SERVED_AT.get(file, file)}{mark}{place}")
