"""The text that every FHIR reader can show: the outcome and the caution, as XHTML."""

from __future__ import annotations

from html import escape
from typing import Any


def narrative(*paragraphs: str) -> dict[str, Any]:
    """A generated narrative with a paragraph for each text."""
    inner = "".join(f"<p>{escape(one, quote=False)}</p>" for one in paragraphs)
    return {"status": "generated", "div": f'<div xmlns="http://www.w3.org/1999/xhtml">{inner}</div>'}
