"""All rule files of a deployment, held loaded; reloading swaps them as a whole or not at all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Final, TypeVar

from limbtier.domain.edition import Edition
from limbtier.domain.rule import GuardRails
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean
from limbtier.foundation.errors import InvalidRuleFiles, NotFound
from limbtier.measures.working_days import WorkingCalendar
from limbtier.rulesets.base_order import name_unknown_base, order_of_bases
from limbtier.rulesets.edition_files import HEAD, base_named
from limbtier.rulesets.findings import Findings
from limbtier.rulesets.loader import (
    load_calendars,
    load_edition,
    load_guard_rails,
    load_released,
    named_base,
    read_edition,
)
from limbtier.rulesets.read_released import Released
from limbtier.rulesets.shapes import word_list

T = TypeVar("T")

# Folders of the rules folder that hold no editions.
OTHER_FOLDERS: Final = ("calendars", "code_maps", "guard_rails", "pathway", "schemas")


@dataclass(frozen=True, slots=True)
class AddedEdition:
    """An edition from elsewhere than the rules folder. `files` are as they would lie in its own folder. One
    that was released has the `digest` that it must have; its files may go on saying that it is a draft."""

    files: Mapping[str, bytes]
    digest: str | None = None


NOTHING_ADDED: Final[Mapping[str, AddedEdition]] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Snapshot:
    """Everything loaded at one time. `guard_rails` are by edition id, each checked against its edition."""

    editions: Mapping[str, Edition]
    guard_rails: Mapping[str, GuardRails]
    calendars: Mapping[str, WorkingCalendar]


class RuleRepository:
    """Finds editions by id. Many threads may read: a reload replaces the snapshot in one assignment."""

    def __init__(self, rules_folder: Path, added: Mapping[str, AddedEdition] = NOTHING_ADDED) -> None:
        """Loads every edition of the folder and those `added`, by their ids. Where both have one, that of the
        folder is read, and must have the digest. Raises InvalidRuleFiles with the diagnostics of all."""
        self._folder = rules_folder
        self._added = added
        self._snapshot = _load(rules_folder, added)

    def reload(self) -> None:
        """Read all files anew. Raises InvalidRuleFiles, and keeps what was loaded, when any is refused."""
        self._snapshot = _load(self._folder, self._added)

    @property
    def snapshot(self) -> Snapshot:
        """What is loaded now; it never changes, whoever reloads."""
        return self._snapshot

    @property
    def editions(self) -> Mapping[str, Edition]:
        """Every edition by id."""
        return self._snapshot.editions

    @property
    def calendars(self) -> Mapping[str, WorkingCalendar]:
        """The working calendar of each nation."""
        return self._snapshot.calendars

    def edition(self, edition_id: str) -> Edition:
        """An edition by id, such as `core-2026.1.0`. Raises NotFound."""
        return _by_id(self._snapshot.editions, edition_id)

    def guard_rails(self, edition_id: str) -> GuardRails:
        """The guard rails that bind an edition. Raises NotFound."""
        return _by_id(self._snapshot.guard_rails, edition_id)


def _by_id(entries: Mapping[str, T], edition_id: str) -> T:
    if edition_id in entries:
        return entries[edition_id]
    shown = edition_id[:60] if edition_id.isprintable() else "?"
    advice = did_you_mean(shown, entries, f"Known here: {word_list(sorted(entries))}.")
    raise NotFound([Diagnostic("unknown-edition", f"There is no edition `{shown}`.", advice)])


def load_added(
    folder: Path, added: Mapping[str, AddedEdition], known: Mapping[str, Edition]
) -> tuple[Mapping[str, Edition], Mapping[str, GuardRails]]:
    """Editions from elsewhere than the rules folder, and the guard rails of each, which that folder holds.
    They may be based on one another and on those that are `known`. Raises InvalidRuleFiles."""
    editions, guard_rails, refused = _load_editions(folder, added, {}, known)
    if refused:
        raise InvalidRuleFiles(sorted(dict.fromkeys(refused), key=_place))
    return editions, guard_rails


def _load(folder: Path, added: Mapping[str, AddedEdition]) -> Snapshot:
    """Everything below the rules folder; the diagnostics of all files are collected before any is raised."""
    diagnostics: list[Diagnostic] = []
    released = Released({}, {})
    calendars: Mapping[str, WorkingCalendar] = {}
    released_read = True
    try:
        released = load_released(folder / "released.yaml")
    except InvalidRuleFiles as error:
        diagnostics += error.diagnostics
        released_read = False
    try:
        calendars = load_calendars(folder / "calendars" / "bank_holidays.yaml")
    except InvalidRuleFiles as error:
        diagnostics += error.diagnostics
    places = {"-".join(place.parts[-2:]): place for place in edition_folders(folder)}
    editions, guard_rails, refused = _load_editions(folder, {**added, **places}, released.digests, {})
    diagnostics += [entry for entry in refused if released_read or entry.code != "released-not-listed"]
    if released_read and not diagnostics:
        diagnostics += _missing(released.digests, editions)
    if not (diagnostics or editions):
        message = "The rules folder holds no edition."
        diagnostics.append(Diagnostic("missing-file", message, "Add one at `<set>/<version>/`.", file="."))
    if diagnostics:
        raise InvalidRuleFiles(sorted(dict.fromkeys(diagnostics), key=_place))
    for edition_id in released.retired_on:
        editions[edition_id] = replace(editions[edition_id], status="retired")
    return Snapshot(editions, guard_rails, calendars)


def _load_editions(
    folder: Path,
    places: Mapping[str, Path | AddedEdition],
    released: Mapping[str, str],
    known: Mapping[str, Edition],
) -> tuple[dict[str, Edition], dict[str, GuardRails], list[Diagnostic]]:
    """Every edition, each after the one it is based on, with its guard rails, and what was found wrong."""
    bases = {
        edition_id: named_base(place)
        if isinstance(place, Path)
        else base_named(place.files.get(HEAD, b""), f"{edition_id.replace('-', '/')}/{HEAD}")
        for edition_id, place in places.items()
    }
    order, rings = order_of_bases({name: base.value if base else None for name, base in bases.items()})
    editions: dict[str, Edition] = dict(known)
    guard_rails: dict[str, GuardRails] = {}
    found = Findings()
    diagnostics: list[Diagnostic] = []
    for edition_id in order:
        base = bases[edition_id]
        if base and edition_id in rings:
            first, *others = (f"`{name}`" for name in rings[edition_id])
            message = f"{first} is based on {', which is based on '.join(others)}."
            advice = "Base one of them on an edition outside the ring."
            found.add("base-cycle", base.place, message, advice)
        elif base and base.value != "none" and base.value not in {*places, *known}:
            name_unknown_base(base, [name for name in (*places, *known) if name != edition_id], found)
        elif base and base.value in places and base.value not in editions:
            message = f"The base `{base.value}` cannot be used itself, so this edition was not read."
            found.add("base-refused", base.place, message, "Mend the base first.")
        else:
            try:
                edition = _edition(edition_id, places[edition_id], released, editions)
                file = folder / "guard_rails" / f"{edition.guard_rails}.yaml"
                guard_rails[edition.id] = load_guard_rails(file, edition)
                editions[edition.id] = edition
            except InvalidRuleFiles as error:
                diagnostics += error.diagnostics
    in_folder_order = {name: editions[name] for name in places if name in editions}
    return in_folder_order, guard_rails, [*diagnostics, *found.sorted()]


def _edition(
    edition_id: str, place: Path | AddedEdition, released: Mapping[str, str], editions: Mapping[str, Edition]
) -> Edition:
    """One edition, from its folder or from its files. Raises InvalidRuleFiles."""
    if isinstance(place, Path):
        return load_edition(place, released, editions)
    rule_set, _, version = edition_id.partition("-")
    if place.digest is None:
        return read_edition(rule_set, version, place.files, {}, editions)
    edition = read_edition(rule_set, version, place.files, {edition_id: place.digest}, editions)
    return replace(edition, status="released")


def _place(entry: Diagnostic) -> tuple[str, int, int]:
    return entry.file or "", entry.line or 0, entry.column or 0


def edition_folders(folder: Path) -> list[Path]:
    """Every folder that should hold an edition, `<set>/<version>` in the rules folder, in a fixed order."""
    if not folder.is_dir():
        return []
    return sorted(
        version
        for rule_set in folder.iterdir()
        if rule_set.is_dir()
        and rule_set.name not in OTHER_FOLDERS
        and not rule_set.name.startswith((".", "_"))
        for version in rule_set.iterdir()
        if version.is_dir() and not version.name.startswith((".", "_"))
    )


def _missing(released: Mapping[str, str], editions: Mapping[str, Edition]) -> list[Diagnostic]:
    """A released edition that is no longer there: past decisions could not be replayed."""
    return [
        Diagnostic(
            "released-missing",
            f"`{edition_id}` was released and its folder is gone.",
            "Put the folder back as it was released.",
            file="released.yaml",
        )
        for edition_id in released
        if edition_id not in editions
    ]
