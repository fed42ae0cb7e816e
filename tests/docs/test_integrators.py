"""Each example of the page for integrators is run as it stands against a real server, and gives what the page
says; what the page promises of the API is what the comparison of descriptions finds."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from limbtier import __version__
from limbtier.api import cds_hooks_resources, fhir_resources
from limbtier.api.findings import FINDINGS
from limbtier.api.integrators_page import SERVED_AT, SOURCE
from limbtier.api.problems import PROBLEM_TYPES
from limbtier.commands.serving import DEMO_ORGANISATION
from limbtier.foundation.settings import CHECKOUT
from limbtier.governance import api_comparison, schema_changes
from limbtier.use_cases.decide import ReadyRules
from tests.api.running import Server, serving
from tests.api.service import MOST_BODY_BYTES
from tests.support.keys import ORGANISATION

PAGE = SOURCE.read_text(encoding="utf-8")
BESIDE = Path(sys.executable).parent  # programs of the environment, such as the generator of clients
BETWEEN = "\x1e"
SHOWN_ONLY = {"text", "output"}

Block = tuple[str, str]


def sections() -> dict[str, list[Block]]:
    """The blocks of each section of the page: language and text."""
    parts = re.split(r"^## (.*)\n", PAGE, flags=re.MULTILINE)
    return {
        title: re.findall(r"^```(\w+)\n(.*?)^```", text, re.DOTALL | re.MULTILINE)
        for title, text in zip(parts[1::2], parts[2::2], strict=True)
    }


SECTIONS = sections()


def with_language(*languages: str) -> list[str]:
    return [title for title, blocks in SECTIONS.items() if {one for one, _ in blocks} & set(languages)]


def shown_after(title: str, language: str) -> list[str | None]:
    """For each block of a language, the output that the page shows below it."""
    blocks = [*SECTIONS[title], ("", "")]
    return [
        after[1] if after[0] == "output" else None for one, after in pairwise(blocks) if one[0] == language
    ]


@pytest.fixture(scope="module")
def server(rules: ReadyRules) -> Iterator[Server]:
    with serving(rules) as running:
        yield running


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with what the examples read of the project."""
    for name in ("demo_data", "openapi"):
        (tmp_path / name).symlink_to(CHECKOUT / name)
    return tmp_path


def run(server: Server, folder: Path, *command: str) -> subprocess.CompletedProcess[str]:
    """A program run in the folder as an integrator runs it: with an address and a key of that role."""
    environment = {
        **os.environ,
        "PATH": f"{BESIDE}{os.pathsep}{os.environ['PATH']}",
        "PYTHONPATH": str(folder),
        "LIMBTIER": server.address,
        "LIMBTIER_KEY": server.service.keys.of_role["integrator"],
    }
    return subprocess.run(
        command, cwd=folder, env=environment, capture_output=True, text=True, check=False, timeout=300
    )


def run_shell(server: Server, folder: Path, blocks: list[str]) -> list[str]:
    """Run blocks in one shell, one after the other; give what each printed."""
    for program in ("bash", "curl"):
        if shutil.which(program) is None:
            pytest.skip(f"the examples are for a shell with curl, and there is no `{program}` here")
    script = f"printf '{BETWEEN}'\n".join(blocks)
    done = run(server, folder, "bash", "-euo", "pipefail", "-c", script)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout.split(BETWEEN)


@pytest.mark.parametrize("title", with_language("sh", "python"))
def test_the_examples_for_the_shell_and_in_python_run_and_give_what_is_shown(
    title: str, server: Server, folder: Path
) -> None:
    commands = [text for language, text in SECTIONS[title] if language == "sh"]
    if commands:
        for given, shown in zip(run_shell(server, folder, commands), shown_after(title, "sh"), strict=True):
            assert shown is None or given == shown
    programs = [text for language, text in SECTIONS[title] if language == "python"]
    for program, shown in zip(programs, shown_after(title, "python"), strict=True):
        done = run(server, folder, sys.executable, "-W", "error", "-c", program)
        assert (done.returncode, done.stderr) == (0, "")
        assert done.stdout == shown


def test_the_example_in_typescript_compiles_strictly_runs_and_gives_what_is_shown(
    server: Server, folder: Path
) -> None:
    for name in ("node", "npm"):
        if shutil.which(name) is None:
            pytest.skip(f"a TypeScript client is made with Node, and there is no `{name}` here")
    (title,) = with_language("ts")
    ((_, commands),) = [one for one in SECTIONS[title] if one[0] == "npm"]
    ((_, program),) = [one for one in SECTIONS[title] if one[0] == "ts"]
    (folder / "connect.mts").write_text(program, encoding="utf-8")
    install, *others, start = commands.splitlines()
    assert install.startswith("npm install ")
    installed = run(server, folder, *install.split(), "--no-audit", "--no-fund")
    if installed.returncode != 0:
        pytest.skip(f"npm cannot install what the example needs here: {installed.stderr[-200:]}")
    for command in others:
        done = run(server, folder, *command.split())
        assert done.returncode == 0, done.stdout + done.stderr
    done = run(server, folder, *start.split())
    assert done.returncode == 0, done.stderr
    assert [done.stdout] == shown_after(title, "ts")


def test_every_example_is_run_by_one_of_these_tests() -> None:
    languages = {language for blocks in SECTIONS.values() for language, _ in blocks}
    assert languages == {"sh", "python", "npm", "ts"} | SHOWN_ONLY
    assert PAGE.count("```") == 2 * sum(len(blocks) for blocks in SECTIONS.values())
    assert len(with_language("sh", "python", "ts")) == 6
    (setting,) = [text for blocks in SECTIONS.values() for language, text in blocks if language == "text"]
    assert set(re.findall(r"export (\w+)=", setting)) == {"LIMBTIER", "LIMBTIER_KEY"}


def test_every_kind_of_breaking_change_is_named_and_no_other() -> None:
    named = set()
    for module in (api_comparison, schema_changes):
        source = Path(str(module.__file__)).read_text(encoding="utf-8")
        named |= set(re.findall(r'ApiChange\(\s*"([a-z-]+)"', source))
    table = PAGE.split("as the comparison names it")[1].split("\n\n")[0]
    assert len(named) > 15
    assert set(re.findall(r"`([a-z]+(?:-[a-z]+)+)`", table)) == named


def test_the_statuses_and_codes_that_a_form_treats_apart_exist() -> None:
    statuses = {str(kind.status) for kind in PROBLEM_TYPES.values()}
    table = PAGE.split("## Errors")[1].split("## Versions")[0]
    rows = re.findall(r"^\| (\d[^|]*) \|", table, re.MULTILINE)
    assert len(rows) == 4
    assert {one for row in rows for one in re.findall(r"\b[45]\d\d\b", row)} <= statuses
    for code in re.findall(r"\d `([a-z-]+)`", table):
        assert code in PROBLEM_TYPES
    for code in re.findall(r"^([a-z-]+) #/", PAGE, re.MULTILINE):
        assert code in FINDINGS
    assert f"{MOST_BODY_BYTES:,} bytes long, and four times that in FHIR and CDS Hooks" in PAGE
    assert cds_hooks_resources.TIMES_LONGER == fhir_resources.TIMES_LONGER == 4


def test_the_page_links_only_to_what_the_service_shows_too() -> None:
    targets = set(re.findall(r"\]\(([^)#]+)\)", PAGE))
    assert targets == set(SERVED_AT)
    for target in targets:
        assert (SOURCE.parent / target).exists()
    anchors = {re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-") for title in SECTIONS}
    assert set(re.findall(r"\]\(#([^)]+)\)", PAGE)) <= anchors


def test_the_sandbox_is_the_one_of_the_demo_and_the_limits_stand_first() -> None:
    assert f"`{DEMO_ORGANISATION}`" in PAGE
    assert ORGANISATION == DEMO_ORGANISATION
    assert "`python3 service/bootstrap.py demo`" in PAGE
    first = PAGE.split("## ")[1]
    for words in ("local policy", "`caution`", "no identifiers", "never show\n  an earlier tier"):
        assert words.lower() in first.lower()
    assert "awaits clinical sign-off" in PAGE.split("## ")[0]


def test_what_the_page_says_is_so_today_is_so() -> None:
    assert f"**Nothing has been released yet** ({__version__})" in PAGE
    assert "Nothing is deprecated today" in PAGE
    assert '"deprecated"' not in (SOURCE.parent / "openapi.json").read_text(encoding="utf-8")
