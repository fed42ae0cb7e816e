"""The parts of which pictures (SVG) are made: words, bars and lines.

A picture fetches nothing, and says in words what it shows for those who do not see it.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final
from xml.sax.saxutils import escape, quoteattr

Shape = tuple[int, str]
"""A shape as SVG text, with its lower edge."""

_STYLE: Final = """
text { font: 14px sans-serif; fill: #1b1b1b; }
.title { font-size: 20px; font-weight: bold; }
.head { font-size: 15px; font-weight: bold; }
.number { text-anchor: end; }
.middle { text-anchor: middle; }
.same { font-weight: bold; }
.bar { stroke: #1b1b1b; stroke-width: 1; }
.rule { stroke: #767676; stroke-width: 1; }
.curve { stroke: #1b1b1b; stroke-width: 2; fill: none; }
"""


def picture(
    title: str, sentences: Iterable[str], shapes: Iterable[Shape], width: int, patterns: str = ""
) -> str:
    """The picture of some shapes. `sentences` say what it shows; `patterns` are definitions of fills."""
    drawn = list(shapes)
    height = max(bottom for bottom, _ in drawn) + 24
    body = "\n".join(shape for _, shape in drawn)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" role="img" aria-labelledby="title description">\n'
        f'<title id="title">{escape(title)}</title>\n'
        f'<desc id="description">{escape(" ".join(sentences))}</desc>\n'
        f"<style>{_STYLE}</style>\n<defs>{patterns}</defs>\n"
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>\n{body}\n</svg>\n'
    )


def words_at(x: float, y: int, words: str, kind: str | None = None) -> Shape:
    """Words; `kind` is a class of the style, such as `head`."""
    attribute = f" class={quoteattr(kind)}" if kind else ""
    return y + 6, f'<text x="{x:g}" y="{y}"{attribute}>{escape(words)}</text>'


def bar(x: float, y: float, width: float, height: float, fill: str) -> Shape:
    """A filled rectangle."""
    shape = f'<rect class="bar" x="{x:.1f}" y="{y:g}" width="{width:.1f}" height="{height:g}" fill="{fill}"/>'
    return int(y + height), shape


def rule(left: float, right: float, y: float) -> Shape:
    """A thin line across."""
    return int(y), f'<path class="rule" d="M{left:g} {y:g}H{right:g}"/>'


def curve(points: Iterable[tuple[float, float]], dashes: str = "none") -> Shape:
    """A line through points."""
    places = list(points)
    path = "L".join(f"{x:.1f} {y:.1f}" for x, y in places)
    shape = f'<path class="curve" stroke-dasharray="{dashes}" d="M{path}"/>'
    return int(max(y for _, y in places)), shape
