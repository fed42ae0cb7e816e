"""The files of one edition as bytes: which there are, which are missing, and each as a tree."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from limbtier.foundation.errors import InvalidRuleFiles
from limbtier.rulesets.findings import Findings, Place, Placed
from limbtier.rulesets.nodes import BrokenNode, MappingNode, Node, ScalarNode
from limbtier.rulesets.strict_yaml import compose

CHANGES: Final = "CHANGES.md"
HEAD: Final = "edition.yaml"
SINGLE_FILES: Final = (
    HEAD,
    "vocabulary.yaml",
    "tiers.yaml",
    "sources.yaml",
    "arrangements.yaml",
    "materials.yaml",
    "wording.yaml",
)
# More than any edition needs, and few enough to be read and made ready in a minute.
MOST_FILES: Final = 200
MOST_BYTES: Final = 5_000_000
MOST_RULES: Final = 1000


class EditionFiles:
    """The files of an edition by their path inside its folder."""

    def __init__(self, rule_set: str, version: str, contents: Mapping[str, bytes], found: Findings) -> None:
        self.rule_set, self.version = rule_set, version
        self.folder = f"{rule_set}/{version}"
        self.contents = dict(sorted(contents.items()))
        self._found = found

    @property
    def id(self) -> str:
        """The id of the edition that the folder holds."""
        return f"{self.rule_set}-{self.version}"

    def place(self, name: str) -> str:
        """A file relative to the rules folder."""
        return f"{self.folder}/{name}"

    def inside(self, folder: str) -> list[str]:
        """The rule files of a folder of the edition."""
        return [name for name in self.contents if re.match(rf"{folder}/[^/]+\.yaml\Z", name)]

    def tree(self, name: str) -> Node | None:
        """The tree of a file; None when it is not there or cannot be read."""
        data = self.contents.get(name)
        return compose(data, self.place(name), self._found) if data is not None else None

    def tree_if_any(self, name: str) -> Node | None:
        """The tree of a file that need not be there: None when it is not, or holds only remarks; one that
        cannot be read is broken."""
        if only_remarks(self.contents.get(name, b"")):
            return None
        tree = self.tree(name)
        return BrokenNode(Place(self.place(name), 1, 1)) if tree is None else tree

    def check(self, needed: tuple[str, ...]) -> None:
        """Name the files that are missing and those that would be passed over."""
        for name in (*needed, CHANGES):
            if name not in self.contents:
                self._add("missing-file", name, "The file is missing.", f"Add `{name}`.")
        known = {*SINGLE_FILES, *self.inside("rules"), *self.inside("cases")}
        for name in self.contents.keys() - known:
            if not name.endswith(".md"):
                message = "The file is no part of an edition and would be passed over."
                advice = (
                    "Rules go into `rules/*.yaml`, worked cases into `cases/*.yaml`; take other files out."
                )
                self._add("unexpected-file", name, message, advice)
        changes = self.contents.get(CHANGES)
        heading = rf"(?m)^#.*(?<![0-9.]){re.escape(self.version)}(?![0-9])"
        if changes is not None and not re.search(heading, changes.decode("utf-8", "replace")):
            message = f"No heading names the version {self.version}."
            advice = f"Add a heading such as `## {self.version}` and say what changed for whom."
            self._add("changes-not-told", CHANGES, message, advice)

    def too_large(self) -> bool:
        """Whether there are more files or bytes than an edition needs; then it is named and not read."""
        if name_too_many_files(len(self.contents), self.folder, self._found):
            return True
        size = sum(len(data) for data in self.contents.values())
        if size <= MOST_BYTES:
            return False
        message = f"The files of the edition have {size:,} bytes together."
        self._found.add_file("edition-too-large", self.folder, message, f"Keep them to {MOST_BYTES:,} bytes.")
        return True

    def check_number_of_rules(self, number: int) -> None:
        """Name an edition with more rules than can be made ready in time."""
        if number > MOST_RULES:
            message = f"The edition has {number:,} rules."
            advice = f"Keep it to {MOST_RULES:,}; let one rule test lists of values and edges."
            self._found.add_file("edition-too-large", f"{self.folder}/rules", message, advice)

    def check_released(self, status: str, fingerprint: str, released: Mapping[str, str]) -> None:
        """A released edition is listed with its digest and never edited."""
        listed = released.get(self.id)
        if listed is None:
            if status == "released":
                message = f"The edition says that it is released, but `{self.id}` is not in released.yaml."
                advice = f"Write `status: draft`, or list it there with the digest {fingerprint}."
                self._add("released-not-listed", HEAD, message, advice)
        elif listed != fingerprint:
            message = f"`{self.id}` was changed after its release: its digest is now {fingerprint}."
            advice = "Undo the change; put it into a new edition with a new version."
            self._add("released-changed", HEAD, message, advice)

    def _add(self, code: str, name: str, message: str, advice: str) -> None:
        self._found.add_file(code, self.place(name), message, advice)


def name_too_many_files(number: int, folder: str, found: Findings) -> bool:
    """Name a folder with more files than any edition has; whether it has."""
    if number <= MOST_FILES:
        return False
    message = f"The edition has {number:,} files."
    found.add_file("edition-too-large", folder, message, f"Keep it to {MOST_FILES}; join some of them.")
    return True


def only_remarks(data: bytes) -> bool:
    """Whether a file holds nothing but remarks and blank lines."""
    return all(not line.strip() or line.lstrip().startswith(b"#") for line in data.split(b"\n"))


def base_named(head: bytes, file: str) -> Placed[str] | None:
    """What `edition.yaml` says under `based_on`, an edition or `none`; None where it cannot be told."""
    try:
        root = compose(head, file, Findings())
    except InvalidRuleFiles:  # too much is wrong in it
        return None
    if isinstance(root, MappingNode):
        for key, value in root.entries:
            if key.text == "based_on" and isinstance(value, ScalarNode) and not value.empty:
                return Placed(value.text, value.place)
    return None
