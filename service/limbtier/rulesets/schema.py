"""Draft-07 JSON schemas of the rule files, for completion in editors, made from the key tables of the loader.

They say less than the loader: names, dates in order and whatever one file says about another are checked
only when an edition is loaded.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Final

from limbtier.rulesets.read_calendar import CALENDAR_FILE
from limbtier.rulesets.read_cards import CARDS_FILE
from limbtier.rulesets.read_caseload import CASELOAD_FILE
from limbtier.rulesets.read_cases import CASES_FILE
from limbtier.rulesets.read_checks import CHECKS_FILE
from limbtier.rulesets.read_code_map import CODE_MAP_FILE
from limbtier.rulesets.read_conditions import condition_schema
from limbtier.rulesets.read_guard_rails import GUARD_RAILS_FILE
from limbtier.rulesets.read_hazards import HAZARDS_FILE
from limbtier.rulesets.read_lists import (
    ARRANGEMENTS_FILE,
    MATERIALS_FILE,
    SOURCES_FILE,
    TIERS_FILE,
    WORDING_FILE,
)
from limbtier.rulesets.read_local_cases import LOCAL_CASES_FILE
from limbtier.rulesets.read_local_head import LOCAL_EDITION
from limbtier.rulesets.read_local_lists import (
    LOCAL_ARRANGEMENTS_FILE,
    LOCAL_MATERIALS_FILE,
    LOCAL_SOURCES_FILE,
    LOCAL_TIERS_FILE,
    LOCAL_WORDING_FILE,
)
from limbtier.rulesets.read_local_rules import LOCAL_RULES_FILE
from limbtier.rulesets.read_local_vocabulary import LOCAL_VOCABULARY
from limbtier.rulesets.read_pathway import PATHWAY_FILE
from limbtier.rulesets.read_released import RELEASED_FILE
from limbtier.rulesets.read_rules import RULES_FILE
from limbtier.rulesets.read_settings import EDITION
from limbtier.rulesets.read_teams import TEAMS_FILE
from limbtier.rulesets.read_vocabulary import VOCABULARY
from limbtier.rulesets.shapes import Schema

# Name of the schema file without ending, what it describes, and its key table.
FILES: Final = (
    ("edition", "edition.yaml", EDITION),
    ("vocabulary", "vocabulary.yaml", VOCABULARY),
    ("tiers", "tiers.yaml", TIERS_FILE),
    ("sources", "sources.yaml", SOURCES_FILE),
    ("arrangements", "arrangements.yaml", ARRANGEMENTS_FILE),
    ("materials", "materials.yaml", MATERIALS_FILE),
    ("wording", "wording.yaml", WORDING_FILE),
    ("rules", "rules/*.yaml", RULES_FILE),
    ("cases", "cases/*.yaml", CASES_FILE),
    ("guard_rails", "guard_rails/*.yaml", GUARD_RAILS_FILE),
    ("pathway", "pathway/*.yaml", PATHWAY_FILE),
    ("bank_holidays", "calendars/bank_holidays.yaml", CALENDAR_FILE),
    ("teams", "calendars/teams.yaml", TEAMS_FILE),
    ("caseload", "caseload.yaml", CASELOAD_FILE),
    ("released", "released.yaml", RELEASED_FILE),
    ("code_map", "code_maps/observations.yaml", CODE_MAP_FILE),
    ("checks", "checks.yaml", CHECKS_FILE),
    ("hazards", "hazards.yaml", HAZARDS_FILE),
    ("cards", "cards.yaml", CARDS_FILE),
    ("local_edition", "edition.yaml of an edition based on another", LOCAL_EDITION),
    ("local_vocabulary", "vocabulary.yaml of an edition based on another", LOCAL_VOCABULARY),
    ("local_tiers", "tiers.yaml of an edition based on another", LOCAL_TIERS_FILE),
    ("local_sources", "sources.yaml of an edition based on another", LOCAL_SOURCES_FILE),
    ("local_arrangements", "arrangements.yaml of an edition based on another", LOCAL_ARRANGEMENTS_FILE),
    ("local_materials", "materials.yaml of an edition based on another", LOCAL_MATERIALS_FILE),
    ("local_wording", "wording.yaml of an edition based on another", LOCAL_WORDING_FILE),
    ("local_rules", "rules/*.yaml of an edition based on another", LOCAL_RULES_FILE),
    ("local_cases", "cases/*.yaml of an edition based on another", LOCAL_CASES_FILE),
)


def schemas() -> dict[str, Schema]:
    """A schema for each kind of rule file, by its name without ending."""
    return {
        name: {
            "$schema": "http://json-schema.org/draft-07/schema#",
            "title": described,
            **record.schema(),
            "definitions": {"condition": condition_schema()},
        }
        for name, described, record in FILES
    }


def write_schemas(folder: Path) -> None:
    """Write every schema as `<name>.json` into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, schema in schemas().items():
        (folder / f"{name}.json").write_text(rendered(schema), encoding="utf-8", newline="\n")


def rendered(schema: Schema) -> str:
    """The text of a schema file."""
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"
