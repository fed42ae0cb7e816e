"""A second edition beside the core edition, made from it by changing what its files say."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path

from limbtier.foundation.settings import CHECKOUT

CORE = "core-2026.1.0"
CHANGED = "core-2026.2.0"


def rules_with_changed_core(folder: Path, changes: Mapping[str, Mapping[str, str]]) -> Path:
    """A rules folder of its own with the core edition and `CHANGED`, a draft made from it. `changes` give by
    file what stands there, exactly once, and what takes its place."""
    rules = Path(shutil.copytree(CHECKOUT / "rules", folder / "rules"))
    draft = Path(shutil.copytree(rules / "core" / "2026.1.0", rules / "core" / "2026.2.0"))
    head = {"version: 2026.1.0": "version: 2026.2.0", "status: released": "status: draft"}
    edits = {
        "edition.yaml": {**head, **changes.get("edition.yaml", {})},
        "CHANGES.md": {"2026.1.0": "2026.2.0"},
        **{file: texts for file, texts in changes.items() if file != "edition.yaml"},
    }
    for file, texts in edits.items():
        path = draft / file
        text = path.read_text(encoding="utf-8")
        for old, new in texts.items():
            if file != "CHANGES.md" and text.count(old) != 1:
                raise ValueError(f"`{old}` stands {text.count(old)} times in {file}")
            text = text.replace(old, new)
        path.write_text(text, encoding="utf-8")
    return rules
