"""A plain document of headings, paragraphs, lists and tables, written as Markdown or as one HTML page."""

from __future__ import annotations

import hashlib
import re
from base64 import b64encode
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final


@dataclass(frozen=True, slots=True)
class Strong:
    """Words that stand out."""

    text: str


@dataclass(frozen=True, slots=True)
class Name:
    """A name as rule files write it."""

    text: str


Inline = str | Strong | Name
Line = tuple[Inline, ...]
# Lines of a cell, one below the other.
Cell = tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Some lines of text; a `notice` is set apart."""

    line: Line
    notice: bool = False


@dataclass(frozen=True, slots=True)
class Items:
    """A list."""

    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table; the first cell of a row names it."""

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and what stands below it; `anchor` is a word that no other section has."""

    title: str
    anchor: str
    blocks: tuple[Paragraph | Items | Table, ...]
    sections: tuple[Section, ...] = ()


@dataclass(frozen=True, slots=True)
class Document:
    """A titled document. `language` is a tag of BCP 47."""

    title: str
    blocks: tuple[Paragraph | Items | Table, ...]
    sections: tuple[Section, ...]
    language: str = "en-GB"


def cell(*lines: Line | str) -> Cell:
    """A cell of some lines."""
    return tuple((line,) if isinstance(line, str) else line for line in lines)


def joined(lines: Iterable[Line], between: str) -> Line:
    """Several lines as one, with words between them."""
    found: list[Inline] = []
    for place, line in enumerate(lines):
        found += [between, *line] if place else line
    return tuple(found)


# ---- Markdown ----------------------------------------------------------------------------------------------

_MARKS: Final = re.compile(r"([\\`*_{}\[\]|~])")
# What makes a heading, a list or a line of it, where a line begins with it.
_FIRST_MARKS: Final = re.compile(r"^(\d*)([#+\-=.)])")


def markdown(document: Document) -> str:
    """The document as Markdown with tables; whatever its texts hold is shown and never read as a mark."""
    return "\n".join(_markdown_document(document)).rstrip() + "\n"


def _markdown_document(document: Document) -> Iterator[str]:
    yield f"# {_plain_markdown(document.title)}\n"
    yield from _markdown_blocks(document.blocks)
    for section in document.sections:
        yield from _markdown_section(section, 2)


def _markdown_section(section: Section, level: int) -> Iterator[str]:
    yield f"{'#' * level} {_plain_markdown(section.title)}\n"
    yield from _markdown_blocks(section.blocks)
    for inner in section.sections:
        yield from _markdown_section(inner, level + 1)


def _markdown_blocks(blocks: Sequence[Paragraph | Items | Table]) -> Iterator[str]:
    for block in blocks:
        match block:
            case Paragraph(line, notice):
                yield f"{'> ' if notice else ''}{_markdown_start(line)}\n"
            case Items(lines):
                yield "".join(f"- {_markdown_start(line)}\n" for line in lines)
            case Table(_, columns, rows):
                yield f"| {' | '.join(_plain_markdown(name) for name in columns)} |"
                yield f"|{'---|' * len(columns)}"
                for row in rows:
                    yield f"| {' | '.join(_markdown_cell(one) for one in row)} |"
                yield ""


def _markdown_start(line: Line) -> str:
    """A line where it could begin something else than a paragraph."""
    return _FIRST_MARKS.sub(r"\1\\\2", _markdown_line(line))


def _markdown_cell(lines: Cell) -> str:
    return "<br>".join(_markdown_line(line) for line in lines)


def _markdown_line(line: Line) -> str:
    return "".join(_markdown_inline(part) for part in line)


def _markdown_inline(part: Inline) -> str:
    match part:
        case Strong(text):
            return f"**{_plain_markdown(text)}**" if text.strip() else text
        case Name(text):
            return f"`{text}`" if re.fullmatch(r"[\w.:-]+", text) else _plain_markdown(text)
        case _:
            return _plain_markdown(part)


def _plain_markdown(text: str) -> str:
    # What could begin an element of a page is written as its name: not every reader knows the backslash.
    return escape(_MARKS.sub(r"\\\1", text.replace("\n", " ")), quote=False)


# ---- HTML --------------------------------------------------------------------------------------------------

_STYLE: Final = """
body{font:1rem/1.5 system-ui,sans-serif;color:#1b1b1b;background:#fff;margin:0 auto;max-width:78rem;
padding:1rem 1.5rem}
h1,h2,h3{line-height:1.25;margin:1.5em 0 .5em}
h2{border-top:2px solid #4a4a4a;padding-top:.75em}
a{color:#0b4a9e}
a:focus,div:focus{outline:3px solid #0b4a9e;outline-offset:2px}
.skip{position:absolute;left:-100rem}
.skip:focus{left:1rem}
.notice{border:2px solid #8a5a00;background:#fff6e0;padding:.75rem 1rem}
.wide{overflow-x:auto}
table{border-collapse:collapse;width:100%;margin:.5rem 0 1.5rem}
caption{text-align:left;font-weight:600;padding:.25rem 0}
th,td{border:1px solid #767676;padding:.4rem .6rem;text-align:left;vertical-align:top}
thead th{background:#ececec}
tbody th{font-weight:400;min-width:9rem}
td p,th p{margin:0 0 .4rem}
td p:last-child,th p:last-child{margin:0}
code{font-size:.9em;overflow-wrap:anywhere}
@media print{body{max-width:none;font-size:9pt}.wide{overflow:visible}nav,.skip{display:none}
thead{display:table-header-group}tr{break-inside:avoid}}
"""
_STYLE_HASH: Final = b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
HTML_POLICY: Final = (
    f"default-src 'none'; style-src 'sha256-{_STYLE_HASH}'; base-uri 'none'; form-action 'none'"
)
"""What a page may load (Content-Security-Policy): its own style and nothing else."""


def html(document: Document) -> str:
    """The document as one page that needs nothing else: no script, no picture, nothing from elsewhere, and a
    policy in it that allows none of these."""
    return "\n".join(_html_document(document)) + "\n"


def _html_document(document: Document) -> Iterator[str]:
    title = escape(document.title)
    yield "<!DOCTYPE html>"
    yield f'<html lang="{escape(document.language)}">'
    yield '<head>\n<meta charset="utf-8">'
    yield f'<meta http-equiv="Content-Security-Policy" content="{HTML_POLICY}">'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield f"<title>{title}</title>\n<style>{_STYLE}</style>\n</head>"
    yield '<body>\n<a class="skip" href="#main">Skip to the text</a>'
    yield f'<header>\n<h1>{title}</h1>\n</header>\n<main id="main">'
    yield from _html_blocks(document.blocks, "top")
    yield '<nav aria-labelledby="contents">\n<h2 id="contents">Contents</h2>\n<ul>'
    for section in document.sections:
        yield f'<li><a href="#{escape(section.anchor)}">{escape(section.title)}</a>'
        if section.sections:
            yield "<ul>"
            for inner in section.sections:
                yield f'<li><a href="#{escape(inner.anchor)}">{escape(inner.title)}</a></li>'
            yield "</ul>"
        yield "</li>"
    yield "</ul>\n</nav>"
    for section in document.sections:
        yield from _html_section(section, 2)
    yield "</main>\n</body>\n</html>"


def _html_section(section: Section, level: int) -> Iterator[str]:
    anchor = escape(section.anchor)
    yield f'<section aria-labelledby="{anchor}">'
    yield f'<h{level} id="{anchor}">{escape(section.title)}</h{level}>'
    yield from _html_blocks(section.blocks, section.anchor)
    for inner in section.sections:
        yield from _html_section(inner, level + 1)
    yield "</section>"


def _html_blocks(blocks: Sequence[Paragraph | Items | Table], anchor: str) -> Iterator[str]:
    for place, block in enumerate(blocks):
        match block:
            case Paragraph(line, notice):
                mark = ' class="notice"' if notice else ""
                yield f"<p{mark}>{_html_line(line)}</p>"
            case Items(lines):
                yield f"<ul>{''.join(f'<li>{_html_line(line)}</li>' for line in lines)}</ul>"
            case Table():
                yield from _html_table(block, escape(f"{anchor}-table-{place}"))


def _html_table(table: Table, caption_id: str) -> Iterator[str]:
    # A wide table scrolls by itself; whoever uses a keyboard must be able to get to it.
    yield f'<div class="wide" role="region" aria-labelledby="{caption_id}" tabindex="0">'
    yield f'<table>\n<caption id="{caption_id}">{escape(table.caption)}</caption>\n<thead>\n<tr>'
    yield "".join(f'<th scope="col">{escape(name)}</th>' for name in table.columns)
    yield "</tr>\n</thead>\n<tbody>"
    for first, *others in table.rows:
        cells = "".join(f"<td>{_html_cell(one)}</td>" for one in others)
        yield f'<tr><th scope="row">{_html_cell(first)}</th>{cells}</tr>'
    yield "</tbody>\n</table>\n</div>"


def _html_cell(lines: Cell) -> str:
    if len(lines) == 1:
        return _html_line(lines[0])
    return "".join(f"<p>{_html_line(line)}</p>" for line in lines)


def _html_line(line: Line) -> str:
    return "".join(_html_inline(part) for part in line)


def _html_inline(part: Inline) -> str:
    match part:
        case Strong(text):
            return f"<strong>{escape(text)}</strong>"
        case Name(text):
            return f"<code>{escape(text)}</code>"
        case _:
            return escape(part)
