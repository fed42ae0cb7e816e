"""Reads the plain lists of an edition that is based on another: what it adds to them and replaces in them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any, Final

from limbtier.domain.edition import Part, Tier, Wording
from limbtier.domain.interval import Interval
from limbtier.rulesets.changes import WHY, Changes
from limbtier.rulesets.findings import Findings, Placed
from limbtier.rulesets.names import Names
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.read_lists import (
    ARRANGEMENT,
    ID,
    MATERIAL,
    MEANING,
    NAME,
    PRESSURE,
    REVIEW_WITHIN,
    SOURCE,
    ListsRead,
    give_arrangements,
    give_materials,
    give_names,
    give_sources,
)
from limbtier.rulesets.records import Fields, Key, ListOf, Record
from limbtier.rulesets.shapes import NameUsed, Text

SOURCES: Final = Key("sources", ListOf(SOURCE), "further sources", required=True)
LOCAL_SOURCES_FILE: Final = Record("the file", (SOURCES,))

ARRANGEMENTS: Final = Key("arrangements", ListOf(ARRANGEMENT), "what rules may arrange too")
REPLACE_ARRANGEMENTS: Final = Key(
    "replace",
    ListOf(Record("an arrangement", (*ARRANGEMENT.keys, *WHY))),
    "arrangements of the base in other words",
)
LOCAL_ARRANGEMENTS_FILE: Final = Record("the file", (ARRANGEMENTS, REPLACE_ARRANGEMENTS))

MATERIALS: Final = Key("materials", ListOf(MATERIAL), "further kinds of material")
REPLACE_MATERIALS: Final = Key(
    "replace", ListOf(Record("a material", (*MATERIAL.keys, *WHY))), "materials of the base, given anew"
)
LOCAL_MATERIALS_FILE: Final = Record("the file", (MATERIALS, REPLACE_MATERIALS))

TIER_NAME: Final = Key("name", NameUsed, "the tier", required=True)
NEW_MEANING: Final = replace(MEANING, required=False)
NEW_PRESSURE: Final = replace(PRESSURE, required=False)
REPLACE_TIERS: Final = Key(
    "replace",
    ListOf(Record("a tier", (TIER_NAME, NEW_MEANING, NEW_PRESSURE, REVIEW_WITHIN, *WHY))),
    "tiers of the base in other words, or with another review",
    required=True,
)
LOCAL_TIERS_FILE: Final = Record("the file", (REPLACE_TIERS,))

CAUTION: Final = Key("caution", Text(), "sentences that follow the caution of the base")
SAFETY_NET: Final = Key("safety_net", ListOf(Text()), "advice that follows the safety-net advice of the base")
LOCAL_WORDING_FILE: Final = Record("the wording", (CAUTION, SAFETY_NET, *WHY))


def lists_of_base(changes: Changes) -> ListsRead:
    """The lists of the base, to be changed."""
    base = changes.base
    return ListsRead(
        tiers=list(base.tiers),
        sources=dict(base.sources),
        arrangements=dict(base.arrangements),
        materials=dict(base.materials),
        tier_names=Names("tier", dict.fromkeys((tier.name for tier in base.tiers), True), base=base.id),
        source_ids=_given("source", base.sources, changes, "Take another id; a source of the base stays."),
        arrangement_names=_given("arrangement", base.arrangements, changes, _REPLACE),
        material_names=_given("material", base.materials, changes, _REPLACE),
        wording=base.wording,
    )


_REPLACE: Final = "Take another name, or put it under `replace`."


def _given(what: str, known: Iterable[str], changes: Changes, instead: str) -> Names[bool]:
    return Names(what, dict.fromkeys(known, True), base=changes.base.id, instead=instead)


def read_local_sources(root: Node | None, read: ListsRead, changes: Changes, found: Findings) -> None:
    """Further sources."""
    if root is None:
        return
    fields = LOCAL_SOURCES_FILE.read(root, "The file", found)
    listed = fields.get(SOURCES) if fields else None
    if listed is None:
        read.source_ids.complete = False
        return
    added = give_names(listed, ID, read.source_ids, found)
    give_sources(added, read, found)
    for entry, _ in added:
        _record_added("source", entry, ID, changes)


def read_local_arrangements(root: Node | None, read: ListsRead, changes: Changes, found: Findings) -> None:
    """Further arrangements, and those of the base in other words."""
    fields = _fields(LOCAL_ARRANGEMENTS_FILE, root, ARRANGEMENTS, read.arrangement_names, found)
    for entry, name in _added(fields, ARRANGEMENTS, read.arrangement_names, found):
        give_arrangements([(entry, name)], read)
        _record_added("arrangement", entry, NAME, changes)
    for entry, word in _replaced(fields, REPLACE_ARRANGEMENTS, read.arrangement_names, found):
        before = changes.base.arrangements[word.value]
        if changes.change("arrangement", "replaced", word, entry, before):
            give_arrangements([(entry, word.value)], read)
            if entry.whole and read.arrangements[word.value] == before:
                changes.refuse_same(f"arrangement `{word.value}`", word.place)


def read_local_materials(root: Node | None, read: ListsRead, changes: Changes, found: Findings) -> None:
    """Further materials, and those of the base given anew."""
    fields = _fields(LOCAL_MATERIALS_FILE, root, MATERIALS, read.material_names, found)
    for entry, name in _added(fields, MATERIALS, read.material_names, found):
        give_materials([(entry, name)], read, found)
        _record_added("material", entry, NAME, changes)
    for entry, word in _replaced(fields, REPLACE_MATERIALS, read.material_names, found):
        before = changes.base.materials[word.value]
        if changes.change("material", "replaced", word, entry, before):
            give_materials([(entry, word.value)], read, found)
            if entry.whole and read.materials[word.value] == before:
                changes.refuse_same(f"material `{word.value}`", word.place)


def _fields(
    file: Record, root: Node | None, added: Key[Any], names: Names[bool], found: Findings
) -> Fields | None:
    """The fields of a file; whether all that it adds can be told goes into `names`."""
    if root is None:
        return None
    fields = file.read(root, "The file", found)
    names.complete = fields is not None and (fields.get(added) is not None or not fields.wrote(added))
    refuse_empty(fields, found)
    return fields


def _added(
    fields: Fields | None, key: Key[Placed[tuple[Fields, ...]]], names: Names[bool], found: Findings
) -> list[tuple[Fields, str]]:
    listed = fields.get(key) if fields else None
    return give_names(listed, NAME, names, found) if listed else []


def _replaced(
    fields: Fields | None, key: Key[Placed[tuple[Fields, ...]]], names: Names[bool], found: Findings
) -> Iterator[tuple[Fields, Placed[str]]]:
    listed = fields.get(key) if fields else None
    for entry in listed.value if listed else ():
        name = entry.get(NAME)
        if name and names.of_base(name, found):
            yield entry, name


def read_local_tiers(root: Node | None, read: ListsRead, changes: Changes, found: Findings) -> None:
    """Tiers of the base in other words, or with another review; their names and their order stay."""
    fields = LOCAL_TIERS_FILE.read(root, "The file", found) if root is not None else None
    replaced = fields.get(REPLACE_TIERS) if fields else None
    places = {tier.name: place for place, tier in enumerate(read.tiers)}
    for entry in replaced.value if replaced else ():
        name = entry.get(TIER_NAME)
        if name is None or not read.tier_names.of_base(name, found):
            continue
        before = read.tiers[places[name.value]]
        if changes.change("tier", "replaced", name, entry, before):
            tier = _tier(before, entry)
            read.tiers[places[name.value]] = tier
            if entry.whole and tier == before:
                changes.refuse_same(f"tier `{name.value}`", name.place)


def _tier(before: Tier, entry: Fields) -> Tier:
    meaning, pressure = entry.get(NEW_MEANING), entry.get(NEW_PRESSURE)
    within: Placed[Interval] | None = entry.get(REVIEW_WITHIN)
    return replace(
        before,
        meaning=meaning.value if meaning else before.meaning,
        intended_pressure=pressure.value if pressure else before.intended_pressure,
        review_within=within.value if within else before.review_within,
    )


def read_local_wording(root: Node | None, read: ListsRead, changes: Changes, found: Findings) -> None:
    """Sentences that follow those of the base; none of these is changed or taken out."""
    fields = LOCAL_WORDING_FILE.read(root, "The file", found) if root is not None else None
    if fields is None or read.wording is None:
        return
    caution, safety_net = fields.get(CAUTION), fields.get(SAFETY_NET)
    if not (fields.wrote(CAUTION) or fields.wrote(SAFETY_NET)):
        changes.refuse_same("wording", fields.place)
    read.wording = _longer(read.wording, caution, safety_net)
    for key in (CAUTION, SAFETY_NET):
        if fields.wrote(key):
            changes.added("wording", Placed(key.name, fields.place_of(key)), fields, changes.base.wording)


def _longer(
    before: Wording, caution: Placed[str] | None, safety_net: Placed[tuple[Placed[str], ...]] | None
) -> Wording:
    further = tuple(sentence.value for sentence in safety_net.value) if safety_net else ()
    return replace(
        before,
        caution=f"{before.caution} {caution.value}" if caution else before.caution,
        safety_net=(*before.safety_net, *further),
    )


def refuse_empty(fields: Fields | None, found: Findings) -> None:
    """Name a file that neither adds nor changes anything."""
    if fields is not None and not fields.written and fields.whole:
        found.add("changes-nothing", fields.place, "The file changes nothing.", "Take it away, or fill it.")


def _record_added(part: Part, entry: Fields, name_key: Key[Placed[str]], changes: Changes) -> None:
    if (name := entry.get(name_key)) is not None:
        changes.added(part, name)
