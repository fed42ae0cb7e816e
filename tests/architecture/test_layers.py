"""The table of layers holds, and the check of it finds seeded breaches."""

import re
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

from tests.architecture import source_tree
from tests.architecture.source_tree import Import, normalised

CHECKOUT = Path(__file__).resolve().parents[2]
SERVICE = CHECKOUT / "service"
PACKAGE = SERVICE / "limbtier"


@pytest.fixture
def package(tmp_path: Path) -> Path:
    """Return an empty package to seed with files."""
    folder = tmp_path / "limbtier"
    folder.mkdir()
    return folder


def seed(package: Path, file: str, text: str) -> None:
    path = package / file
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")


def declared_dependencies() -> set[str]:
    project = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = [line for name in ("postgresql", "traces") for line in project["optional-dependencies"][name]]
    names = (re.match(r"[A-Za-z0-9._-]+", line) for line in [*project["dependencies"], *extras])
    return {normalised(name.group()) for name in names if name}


# The project itself.


def test_each_layer_imports_only_layers_below_it() -> None:
    assert source_tree.layer_breaches(PACKAGE) == []


def test_reserved_packages_are_imported_only_in_their_place() -> None:
    assert source_tree.reservation_breaches(PACKAGE) == []


def test_each_third_party_import_has_a_declared_dependency() -> None:
    assert source_tree.undeclared(PACKAGE, declared_dependencies(), packages_distributions()) == []


def test_no_file_is_too_long_to_read() -> None:
    assert source_tree.too_long(SERVICE) == []


def test_the_checks_see_the_package() -> None:
    seen = list(source_tree.imports_of(PACKAGE))
    assert any(one.file.startswith("engine/") and one.module.startswith("limbtier.domain") for one in seen)


# The checks, on seeded files.


@pytest.mark.parametrize(
    ("file", "text", "breach"),
    [
        ("domain/rule.py", "import limbtier.engine.decide", "domain/rule.py:1: domain may not import engine"),
        ("domain/rule.py", "from limbtier import engine", "domain/rule.py:1: domain may not import engine"),
        ("domain/rule.py", "from ..engine import decide", "domain/rule.py:1: domain may not import engine"),
        ("domain/rule.py", "from .. import engine", "domain/rule.py:1: domain may not import engine"),
        ("engine/a/b.py", "from ...api import app", "engine/a/b.py:1: engine may not import api"),
        ("store/a.py", "from limbtier.engine.decide import x", "store/a.py:1: store may not import engine"),
        ("audit/a.py", "from limbtier.bulk import x", "audit/a.py:1: audit may not import bulk"),
        ("pages/a.py", "from limbtier.api.problems import x", "pages/a.py:1: pages may not import api"),
        ("app.py", "from limbtier.cli import main", "app.py:1: app may not import cli"),
        (
            "foundation/a.py",
            "from limbtier.domain.rule import Rule",
            "foundation/a.py:1: foundation may not import domain",
        ),
        (
            "foundation/a.py",
            "def f():\n    import limbtier.store",
            "foundation/a.py:2: foundation may not import store",
        ),
        (
            "measures/a.py",
            "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from limbtier.domain.rule import Rule",
            "measures/a.py:3: measures may not import domain",
        ),
        (
            "__init__.py",
            "from limbtier.engine import decide",
            "__init__.py:1: __init__ may not import engine",
        ),
        ("helpers/a.py", "", "helpers: not in the table of layers"),
        ("helpers.py", "", "helpers: not in the table of layers"),
        ("api/a.py", "import limbtier.helpers", "api/a.py:1: api may not import helpers"),
    ],
)
def test_an_import_against_the_table_is_found(package: Path, file: str, text: str, breach: str) -> None:
    seed(package, "engine/__init__.py", "")
    seed(package, file, text)
    assert source_tree.layer_breaches(package) == [breach]


@pytest.mark.parametrize(
    ("file", "text"),
    [
        ("engine/a.py", "from limbtier.domain.rule import Rule\nfrom limbtier.foundation import clock"),
        ("engine/a.py", "from .b import x\nfrom . import c\nfrom limbtier.engine.d import y"),
        ("api/a.py", "from limbtier import __version__\nfrom limbtier.use_cases.decide import decide"),
        ("commands/serving.py", "from limbtier.app import build"),
        ("cli.py", "from limbtier.commands import serving"),
        ("__main__.py", "from limbtier.cli import main"),
        ("domain/a.py", "import json\nimport limbtier_other"),
    ],
)
def test_an_import_down_the_table_is_allowed(package: Path, file: str, text: str) -> None:
    seed(package, file, text)
    assert source_tree.layer_breaches(package) == []


@pytest.mark.parametrize(
    ("file", "text", "place", "name"),
    [
        ("engine/decide.py", "from durable.engine import Host", "engine/matcher.py", "durable"),
        ("engine/matcher/a.py", "import durable", "engine/matcher.py", "durable"),
        ("domain/a.py", "def f():\n    import yaml", "rulesets/", "yaml"),
        ("pages/a.py", "from fastapi.responses import Response", "api/, app.py, commands/", "fastapi"),
        ("use_cases/a.py", "import starlette.types", "api/, app.py, commands/", "starlette"),
        ("api_client/a.py", "import uvicorn", "api/, app.py, commands/", "uvicorn"),
    ],
)
def test_a_reserved_import_elsewhere_is_found(
    package: Path, file: str, text: str, place: str, name: str
) -> None:
    seed(package, file, text)
    line = len(text.splitlines())
    assert source_tree.reservation_breaches(package) == [f"{file}:{line}: only {place} may import {name}"]


def test_a_reserved_import_in_its_place_is_allowed(package: Path) -> None:
    seed(package, "engine/matcher.py", "from durable import engine")
    seed(package, "rulesets/composed.py", "import yaml")
    seed(package, "api/routes/a.py", "from fastapi import APIRouter\nfrom starlette.types import Scope")
    seed(package, "commands/serving.py", "import uvicorn")
    assert source_tree.reservation_breaches(package) == []


@pytest.mark.parametrize(
    "call", ["importlib.import_module('yaml')", "import_module(name)", "__import__('yaml')"]
)
def test_an_import_by_name_is_found(package: Path, call: str) -> None:
    seed(package, "domain/a.py", call)
    assert source_tree.reservation_breaches(package) == [
        "domain/a.py:1: an import by name hides what is imported"
    ]


def test_an_undeclared_third_party_import_is_found(package: Path) -> None:
    seed(package, "store/a.py", "import json\nimport requests\nimport yaml\nfrom limbtier import domain\n")
    found = source_tree.undeclared(package, {"pyyaml"}, {"yaml": ["PyYAML"], "requests": ["requests"]})
    assert found == ["store/a.py:2: requests comes from no declared dependency"]


def test_a_package_of_a_dependency_needs_that_dependency(package: Path) -> None:
    seed(package, "api/a.py", "import starlette.types")
    provided_by = {"fastapi": ["fastapi"], "starlette": ["starlette"]}
    assert source_tree.undeclared(package, {"fastapi"}, provided_by) == []
    assert source_tree.undeclared(package, {"starlette"}, provided_by) != []


def test_a_file_one_line_too_long_is_found(tmp_path: Path) -> None:
    seed(tmp_path, "bootstrap.py", "\n" * 2000)
    seed(tmp_path, "limbtier/a.py", "\n" * source_tree.MOST_LINES)
    assert source_tree.too_long(tmp_path) == []
    seed(tmp_path, "limbtier/b.py", "\n" * (source_tree.MOST_LINES + 1))
    assert source_tree.too_long(tmp_path) == ["limbtier/b.py: 451 lines, at most 450"]


def test_relative_imports_are_read_as_full_names(package: Path) -> None:
    seed(package, "engine/__init__.py", "from .decide import x\nfrom ..domain import rule")
    assert [one.module for one in source_tree.imports_of(package)] == [
        "limbtier.engine.decide",
        "limbtier.domain",
    ]
    assert Import("limbtier.domain", "engine/__init__.py", 2).place == "engine/__init__.py:2"
