"""The schemas that editors use agree with the loader, and with the files of the project."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from limbtier.rulesets.findings import Findings
from limbtier.rulesets.nodes import ListNode, MappingNode, Node, ScalarNode
from limbtier.rulesets.schema import FILES, rendered, schemas
from limbtier.rulesets.strict_yaml import compose
from tests.rulesets.golden import EDITION, LOCAL_EDITION, SMALL_RULES

RULES = Path(__file__).parents[2] / "rules"
CORE = "core/2026.1.0"
NAMES = [name for name, _, _ in FILES]


def as_text(node: Node | None) -> Any:
    """A tree of plain data in which every scalar is text: nothing is typed by its looks."""
    match node:
        case ScalarNode():
            return node.text
        case ListNode():
            return [as_text(item) for item in node.items]
        case MappingNode():
            return {key.text: as_text(value) for key, value in node.entries}
        case _:
            raise AssertionError("the file is not sound")


def schema_for(path: str) -> str:
    """Name of the schema of a file, by its path inside the rules folder."""
    parts = path.split("/")
    if "rules" in parts[1:-1] or "cases" in parts[1:-1] or parts[0] in ("guard_rails", "pathway"):
        return parts[-2]
    return parts[-1].removesuffix(".yaml")


def local_schema_for(path: str) -> str:
    """Name of the schema of a file of an edition that is based on another, by its path in the folder."""
    folder, _, file = path.rpartition("/")
    return f"local_{folder or file.removesuffix('.yaml')}"


def based_on_another(folder: Path) -> list[str]:
    return [path.relative_to(folder).as_posix() for path in sorted(folder.rglob("*.yaml"))]


def yaml_files(rules: Path, edition: str) -> list[str]:
    folders = [rules / edition, rules / "guard_rails", rules / "pathway", rules / "calendars"]
    found = [path for folder in folders for path in sorted(folder.rglob("*.yaml"))]
    return [path.relative_to(rules).as_posix() for path in [*found, *sorted(rules.glob("*.yaml"))]]


@pytest.mark.parametrize("name", NAMES)
def test_the_committed_schema_is_the_generated_one(name: str) -> None:
    committed = (RULES / "schemas" / f"{name}.json").read_text(encoding="utf-8")
    assert committed == rendered(schemas()[name]), "run `limbtier schemas`"


def test_no_other_schema_is_committed() -> None:
    assert sorted(path.stem for path in (RULES / "schemas").iterdir()) == sorted(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_a_schema_is_draft_07(name: str) -> None:
    schema = json.loads(rendered(schemas()[name]))
    assert schema["$schema"] == "http://json-schema.org/draft-07/schema#"
    jsonschema.Draft7Validator.check_schema(schema)


@pytest.mark.parametrize(
    ("rules", "path"),
    [(SMALL_RULES, path) for path in yaml_files(SMALL_RULES, EDITION)]
    + [(RULES, path) for path in yaml_files(RULES, CORE)],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_every_rule_file_fits_its_schema(rules: Path, path: str) -> None:
    data = as_text(compose((rules / path).read_bytes(), path, Findings()))
    jsonschema.Draft7Validator(schemas()[schema_for(path)]).validate(data)


@pytest.mark.parametrize("path", based_on_another(LOCAL_EDITION))
def test_every_file_of_a_local_edition_fits_its_schema(path: str) -> None:
    data = as_text(compose((LOCAL_EDITION / path).read_bytes(), path, Findings()))
    jsonschema.Draft7Validator(schemas()[local_schema_for(path)]).validate(data)


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("rules", {"topic": "Made up", "rules": [{"id": "a"}]}),
        ("rules", {"topic": "Made up", "rules": [], "more": "x"}),
        ("released", {"editions": [{"edition": "core-2026.1.0", "digest": "sha256:12"}]}),
        ("tiers", {"tiers": [{"name": "Mild"}]}),
        ("local_rules", {"topic": "Made up", "withdraw": [{"id": "a", "reason": "Made up."}]}),
        ("local_edition", {"based_on": "none"}),
        ("local_vocabulary", {"measures": []}),
    ],
)
def test_a_schema_refuses_what_the_loader_refuses(name: str, data: Any) -> None:
    assert not jsonschema.Draft7Validator(schemas()[name]).is_valid(data)
