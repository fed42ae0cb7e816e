"""A rendering shows the whole edition, and shows whatever its texts hold instead of obeying it."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from fractions import Fraction
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbtier.cli import main
from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.domain.edition import Edition
from limbtier.foundation.settings import CHECKOUT
from limbtier.governance.document import (
    Document,
    Name,
    Paragraph,
    Section,
    Strong,
    Table,
    cell,
    html,
    markdown,
)
from limbtier.governance.rendering import render_html, render_markdown
from limbtier.governance.sentences import Sentences
from limbtier.use_cases.edition_documents import EditionInFull, edition_in_full
from tests.rulesets.golden import copy_of_local_edition, copy_of_small_rules

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
HOSTILE = (
    "<script>alert(1)</script> & \"quoted\" 'text' | `code` **bold** [link](http://x.invalid) # <img src=x>"
)


class Page(HTMLParser):
    """What a page holds: its elements in order, its visible text, and whether every element is closed."""

    EMPTY = ("meta",)

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self._open: list[str] = []
        self.feed(text)
        self.close()
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in self.EMPTY:
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not (self._open and self._open[-1] == "style"):
            self.texts.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.texts).split())


@pytest.fixture(scope="module")
def local() -> EditionInFull:
    return edition_in_full(CHECKOUT / "rules", "quillerbeck-2026.1.0")


@pytest.fixture(scope="module")
def made_up(tmp_path_factory: pytest.TempPathFactory) -> EditionInFull:
    rules = copy_of_small_rules(tmp_path_factory.mktemp("rendering"))
    copy_of_local_edition(rules)
    return edition_in_full(rules, "local-2026.1.0")


def hostile(edition: Edition) -> Edition:
    """An edition whose texts look like marks of a page."""
    return replace(
        edition,
        title=HOSTILE,
        owner=HOSTILE,
        wording=replace(edition.wording, caution=HOSTILE, safety_net=(HOSTILE,)),
        rules=tuple(
            replace(rule, title=HOSTILE, topic=f"{HOSTILE} {rule.topic}", because=HOSTILE)
            for rule in edition.rules
        ),
        tiers=tuple(replace(tier, meaning=HOSTILE) for tier in edition.tiers),
        sources={name: replace(source, title=HOSTILE) for name, source in edition.sources.items()},
        changes=tuple(
            replace(change, reason=HOSTILE, decided_by=HOSTILE, name=change.name)
            for change in edition.changes
        ),
    )


def test_head_caution_and_every_part_of_the_edition_are_shown(local: EditionInFull) -> None:
    edition, page = local.edition, Page(local.html())
    shown = page.text
    for word in (edition.id, edition.status, edition.digest, edition.owner, local.bases[0].digest):
        assert word in shown
    assert " ".join(edition.wording.caution.split()) in shown
    for rule in edition.rules:
        assert rule.title in shown
        assert " ".join(rule.because.split()) in shown
    for part in (edition.settings, edition.sources, edition.arrangements, edition.materials):
        assert all(entry.title in shown for entry in part.values())
    assert all(rail.statement in shown for rail in local.guard_rails.rails)
    assert all(asked.question in shown for asked in edition.vocabulary.inputs.values())
    assert f"{len(edition.cases)} worked cases" in shown


def test_each_change_stands_beside_its_base_with_reason_and_role(local: EditionInFull) -> None:
    shown = Page(local.html()).text
    for change in local.edition.changes:
        if change.reason:
            assert " ".join(change.reason.split()) in shown
            assert change.decided_by is not None
            assert change.decided_by in shown
    assert "Look again within 72 hours ." in shown  # as the base says it
    assert "Rule withdrawn incompressible-calcified" in shown
    assert "Setting replaced review_always 28 days 14 days" in shown


def test_an_edition_without_a_base_has_no_differences() -> None:
    core = edition_in_full(CHECKOUT / "rules", "core-2026.1.0")
    assert "What differs" not in core.markdown()
    assert "no other edition" in core.markdown()


def test_every_part_of_a_local_edition_that_may_change_is_shown(made_up: EditionInFull) -> None:
    shown = Page(made_up.html()).text
    for words in (
        "Question added dry_since_yesterday - Has it stopped leaking since yesterday?",
        "Answer added current_tier mild_and_known - Mild as worn at home. It counts as mild for guard rails.",
        "Named fact added dry_leg - Dry leg",
        "What lifts a limit added dry - a dry leg",
        "vascular_opinion Opinion of a vascular specialist Opinion of the made-up vascular clinic",
        "Wording added caution - This edition is made up.",
        "Wording added safety_net - Ring the ward.",
        "Setting added dry_leg_review - 24 hours It was asked for.",
        "Withdrawn. Its rule was withdrawn. Decided by: vascular lead. reduced-supply-waits",
    ):
        assert words in shown


def test_a_page_needs_nothing_else_and_runs_nothing(local: EditionInFull) -> None:
    text = local.html()
    page = Page(text)
    tags = {tag for tag, _ in page.elements}
    assert not tags & {"script", "img", "link", "iframe", "object", "embed", "form", "base"}
    named = [
        value
        for _, attributes in page.elements
        for key, value in attributes.items()
        if key in ("src", "href")
    ]
    assert all(value is not None and value.startswith("#") for value in named)
    assert not any(
        key.startswith("on") or key == "style" for _, attributes in page.elements for key in attributes
    )
    [policy] = [
        attributes["content"]
        for tag, attributes in page.elements
        if tag == "meta" and attributes.get("http-equiv") == "Content-Security-Policy"
    ]
    assert policy is not None
    assert policy.startswith("default-src 'none'; style-src 'sha256-")


def test_a_page_can_be_read_without_seeing_it(local: EditionInFull) -> None:
    page = Page(local.html())
    assert ("html", {"lang": "en-GB"}) in page.elements
    anchors = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
    assert len(anchors) == len(set(anchors))
    for _, attributes in page.elements:
        if "aria-labelledby" in attributes:
            assert attributes["aria-labelledby"] in anchors
        if (attributes.get("href") or "").startswith("#"):
            assert (attributes["href"] or "")[1:] in anchors
    tables = [tag for tag, _ in page.elements if tag == "table"]
    assert len(tables) == len([tag for tag, _ in page.elements if tag == "caption"]) > 20
    assert all(attributes.get("scope") in ("col", "row") for tag, attributes in page.elements if tag == "th")
    levels = [int(tag[1]) for tag, _ in page.elements if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(second - first <= 1 for first, second in pairwise(levels))


def test_marks_in_the_texts_of_an_edition_are_shown_and_not_obeyed(local: EditionInFull) -> None:
    edition = hostile(local.edition)
    page = Page(render_html(edition, local.guard_rails, local.bases))
    plain = Page(local.html())
    assert {tag for tag, _ in page.elements} == {tag for tag, _ in plain.elements}
    assert page.texts.count(HOSTILE) > len(edition.rules)
    text = render_markdown(edition, local.guard_rails, local.bases)
    assert "<script" not in text
    assert "<img" not in text
    assert "](http" not in text.replace("\\]", "")
    rows = [line for line in text.splitlines() if line.startswith("| ")]
    assert {len(re.findall(r"(?<!\\)\|", row)) for row in rows} <= {3, 4, 5, 6}


PLAIN = st.text(
    st.characters(codec="utf-8", exclude_categories=("C", "Z")) | st.just(" "), min_size=1, max_size=30
)


@given(PLAIN)
def test_any_text_comes_back_from_a_page_as_it_was(text: str) -> None:
    document = Document(
        text,
        (Paragraph((text, Strong(text), Name(text))),),
        (Section(text, "a", (Table(text, (text,), ((cell(text),),)),)),),
    )
    page = Page(html(document))
    assert page.texts.count(text) >= 6
    rows = [line for line in markdown(document).splitlines() if line.startswith("|")]
    assert all(len(re.findall(r"(?<!\\)(?:\\\\)*\|", row)) == 2 for row in rows)


@pytest.mark.parametrize(
    ("condition", "words"),
    [
        (ValueTest("suspected_clot", ("yes",)), "suspected clot is yes"),
        (ValueTest("established", ("no",)), "“Compression is established” does not hold"),
        (ValueTest("current_tier", ("none", "mild")), "current tier is none or mild"),
        (EdgeTest("toe_pressure_mmhg", below=Fraction(30)), "toe pressure is below 30 mmHg"),
        (AllOf(()), "always"),
        (
            AllOf(
                (
                    ValueTest("leaking", ("yes",)),
                    NoneOf((ValueTest("diabetes", ("yes",)), ValueTest("tolerance", ("good",)))),
                )
            ),
            "leaking is yes, and (none of: diabetes is yes; tolerance is good)",
        ),
        (
            AnyOf(
                (
                    AllOf((ValueTest("leaking", ("yes",)), ValueTest("diabetes", ("no",)))),
                    AnyOf((ValueTest("leaking", ("no",)), ValueTest("diabetes", ("yes",)))),
                )
            ),
            (
                "at least one of: leaking is yes, and diabetes is no; "
                "(at least one of: leaking is no; diabetes is yes)"
            ),
        ),
    ],
)
def test_a_condition_in_words(condition: Condition, words: str, made_up: EditionInFull) -> None:
    line = Sentences(made_up.edition).when(condition)
    assert "".join(part if isinstance(part, str) else part.text for part in line) == words


def test_the_command_writes_both_forms_and_prints_markdown_when_no_file_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page, text = tmp_path / "edition.html", tmp_path / "edition.md"
    assert main(["render", "quillerbeck-2026.1.0", "--html", str(page), "--markdown", str(text)]) == 0
    assert capsys.readouterr().out == f"wrote {page}\nwrote {text}\n"
    assert main(["render", "quillerbeck-2026.1.0"]) == 0
    assert capsys.readouterr().out == text.read_text(encoding="utf-8")
    assert page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert main(["render", "quillerbek-2026.1.0"]) == 2
    assert "Did you mean `quillerbeck-2026.1.0`" in capsys.readouterr().err


@pytest.mark.skipif(CHROMIUM is None, reason="needs chromium to show the page, and it is not installed")
def test_a_browser_shows_the_page_and_reports_no_breach(local: EditionInFull, tmp_path: Path) -> None:
    page = tmp_path / "edition.html"
    page.write_text(render_html(hostile(local.edition), local.guard_rails, local.bases), encoding="utf-8")
    shown = subprocess.run(
        [
            str(CHROMIUM),
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            f"--user-data-dir={tmp_path}",
            "--enable-logging=stderr",
            "--dump-dom",
            page.as_uri(),
        ],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    assert "What differs from core-2026.1.0" in shown.stdout
    assert "<script" not in shown.stdout
    assert "Content Security Policy" not in shown.stderr
