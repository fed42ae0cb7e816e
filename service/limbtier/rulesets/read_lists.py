"""Reads the plain lists of an edition: tiers, sources, arrangements, materials, and the wording."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final, cast, get_args

from limbtier.domain.decision import DISPOSITIONS
from limbtier.domain.edition import ArrangementWords, Basis, Material, MaterialKind, Source, Tier, Wording
from limbtier.rulesets.findings import Findings, Placed
from limbtier.rulesets.names import Names
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.records import Fields, Key, ListOf, Record
from limbtier.rulesets.shapes import (
    Day,
    Identifier,
    IntervalText,
    Name,
    NameUsed,
    Number,
    OneOf,
    Text,
    YesNo,
    word_list,
)

# The engine reads the order and the lowest two; the words that go with each are the edition's.
TIERS_IN_ORDER: Final = ("withhold", "support", "mild", "moderate", "strong")

NAME: Final = Key("name", Name, "its name, in small letters, digits and _", required=True)
TITLE: Final = Key("title", Text(), "what people call it", required=True)

MEANING: Final = Key("meaning", Text(), "what is put on at this tier", required=True)
PRESSURE: Final = Key("intended_pressure", Text(), "the pressure meant, in words", required=True)
COMPRESSION: Final = Key("compression", YesNo(), "whether anything is put on", required=True)
REVIEW_WITHIN: Final = Key(
    "review_within", IntervalText(review=True), "the longest until a review at this tier"
)
TIER: Final = Record("a tier", (NAME, TITLE, MEANING, PRESSURE, COMPRESSION, REVIEW_WITHIN))
TIERS: Final = Key("tiers", ListOf(TIER), "the tiers, lowest first", required=True)
TIERS_FILE: Final = Record("the file", (TIERS,))

ID: Final = Key("id", Identifier, "its id, in small letters, digits and -", required=True)
BASIS: Final = Key(
    "basis", OneOf(get_args(Basis)), "seen, from memory, or practice without a source", required=True
)
POINT: Final = Key("point", Text(), "what it was read for", required=True)
CHECKED_ON: Final = Key("checked_on", Day(), "the day it was last looked at", required=True)
SOURCE: Final = Record("a source", (ID, TITLE, BASIS, POINT, CHECKED_ON))
SOURCES: Final = Key("sources", ListOf(SOURCE), "what the rules rest on", required=True)
SOURCES_FILE: Final = Record("the file", (SOURCES,))

ARRANGEMENT: Final = Record("an arrangement", (NAME, TITLE))
ARRANGEMENTS: Final = Key("arrangements", ListOf(ARRANGEMENT), "what rules may arrange", required=True)
ARRANGEMENTS_FILE: Final = Record("the file", (ARRANGEMENTS,))

MATERIAL_KIND: Final = Key("kind", OneOf(get_args(MaterialKind)), "what sort of material", required=True)
INELASTIC: Final = Key("inelastic", YesNo(), "whether it hardly stretches", required=True)
FITTING: Final = Key("tiers", ListOf(NameUsed), "the tiers it is used at", required=True)
LAYERS: Final = Key("layers", Number(whole=True), "layers over each point of the leg")
TENSION: Final = Key("tension_kgf", Number(), "tension in kilogram-force")
WIDTH: Final = Key("width_cm", Number(), "width in cm")
ROLL_LENGTH: Final = Key("roll_length_cm", Number(), "length of a stretched roll in cm")
OVERLAP: Final = Key("overlap", Number(), "share of the width that the next turn covers, below 1")
MATERIAL: Final = Record(
    "a material",
    (NAME, TITLE, MATERIAL_KIND, INELASTIC, FITTING, LAYERS, TENSION, WIDTH, ROLL_LENGTH, OVERLAP),
)
MATERIALS: Final = Key(
    "materials", ListOf(MATERIAL), "kinds of material that rules may choose", required=True
)
MATERIALS_FILE: Final = Record("the file", (MATERIALS,))

CAUTION: Final = Key("caution", Text(), "the caution that goes with every decision", required=True)
SAFETY_NET: Final = Key("safety_net", ListOf(Text()), "advice that goes with compression", required=True)
DISPOSITION_KEYS: Final = tuple(
    Key(name, Text(), f"what `{name}` means for the reader", required=True) for name in DISPOSITIONS
)
DISPOSITION_WORDS: Final = Key(
    "dispositions",
    Record("the wording of dispositions", DISPOSITION_KEYS),
    "a sentence for each",
    required=True,
)
OTHER_LEG: Final = Key("other_leg_waits", Text(), "when one leg has a danger sign", required=True)
NO_WORKING_DAY: Final = Key("no_working_day", Text(), "when no working day fits a review", required=True)
ESTIMATE: Final = Key("pressure_estimate", Text(), "the caveat of a pressure estimate", required=True)
PROVISIONAL: Final = Key("provisional", Text(), "when questions are open", required=True)
WORDING_FILE: Final = Record(
    "the wording", (CAUTION, SAFETY_NET, DISPOSITION_WORDS, OTHER_LEG, NO_WORKING_DAY, ESTIMATE, PROVISIONAL)
)


@dataclass(slots=True)
class ListsRead:
    """The names that the lists give, and the entries that could be read."""

    tiers: list[Tier] = field(default_factory=list)
    sources: dict[str, Source] = field(default_factory=dict)
    arrangements: dict[str, ArrangementWords] = field(default_factory=dict)
    materials: dict[str, Material] = field(default_factory=dict)
    tier_names: Names[bool] = field(default_factory=lambda: Names("tier"))
    source_ids: Names[bool] = field(default_factory=lambda: Names("source"))
    arrangement_names: Names[bool] = field(default_factory=lambda: Names("arrangement"))
    material_names: Names[bool] = field(default_factory=lambda: Names("material"))
    wording: Wording | None = None


def read_tiers(root: Node | None, read: ListsRead, found: Findings) -> None:
    """The tiers; the names are fixed, so they are known even when the file cannot be read."""
    read.tier_names.known = dict.fromkeys(TIERS_IN_ORDER, True)
    fields = TIERS_FILE.read(root, "The file", found) if root is not None else None
    tiers = fields.get(TIERS) if fields else None
    if tiers is None:
        return
    for entry in tiers.value:
        name, title, meaning = entry.get(NAME), entry.get(TITLE), entry.get(MEANING)
        pressure, compression = entry.get(PRESSURE), entry.get(COMPRESSION)
        within = entry.get(REVIEW_WITHIN)
        if name and title and meaning and pressure and compression:
            read.tiers.append(
                Tier(
                    name.value,
                    title.value,
                    meaning.value,
                    pressure.value,
                    compression.value,
                    within.value if within else None,
                )
            )
    names = [name for entry in tiers.value if (name := entry.get(NAME))]
    named = tuple(name.value for name in names)
    if named != TIERS_IN_ORDER and len(named) == len(tiers.value) and not tiers.lost:
        message = f"The tiers are {word_list(named)}."
        advice = f"Give exactly {word_list(TIERS_IN_ORDER)}, in this order."
        wrong = [name.place for name, due in zip(names, TIERS_IN_ORDER, strict=False) if name.value != due]
        found.add("tiers-differ", wrong[0] if wrong else tiers.place, message, advice)


def read_sources(root: Node | None, read: ListsRead, found: Findings) -> None:
    """The sources by id."""
    give_sources(_entries(root, SOURCES_FILE, SOURCES, ID, read.source_ids, found), read, found)


def give_sources(entries: Iterable[tuple[Fields, str]], read: ListsRead, found: Findings) -> None:
    """Keep sources, each with its id."""
    for entry, name in entries:
        title, basis, point = entry.get(TITLE), entry.get(BASIS), entry.get(POINT)
        checked_on = entry.get(CHECKED_ON)
        if basis and name == "common-practice" and basis.value != "practice":
            message = "`common-practice` says that there is no published source."
            found.add("basis-disagrees", basis.place, message, "Write `basis: practice`.")
        if title and basis and point and checked_on:
            read.sources[name] = Source(
                name, title.value, cast("Basis", basis.value), point.value, checked_on.value
            )


def read_arrangements(root: Node | None, read: ListsRead, found: Findings) -> None:
    """The arrangements by name."""
    entries = _entries(root, ARRANGEMENTS_FILE, ARRANGEMENTS, NAME, read.arrangement_names, found)
    give_arrangements(entries, read)


def give_arrangements(entries: Iterable[tuple[Fields, str]], read: ListsRead) -> None:
    """Keep arrangements, each with its name."""
    read.arrangements |= {
        name: ArrangementWords(name, title.value) for entry, name in entries if (title := entry.get(TITLE))
    }


def read_materials(root: Node | None, read: ListsRead, found: Findings) -> None:
    """The materials by name."""
    entries = _entries(root, MATERIALS_FILE, MATERIALS, NAME, read.material_names, found)
    give_materials(entries, read, found)


def give_materials(entries: Iterable[tuple[Fields, str]], read: ListsRead, found: Findings) -> None:
    """Keep materials, each with its name."""
    for entry, name in entries:
        title, kind, inelastic = entry.get(TITLE), entry.get(MATERIAL_KIND), entry.get(INELASTIC)
        tiers = read.tier_names.all_of(entry.get(FITTING), found)
        layers, tension = _above_zero(entry, LAYERS, found), _above_zero(entry, TENSION, found)
        width, roll = _above_zero(entry, WIDTH, found), _above_zero(entry, ROLL_LENGTH, found)
        overlap = entry.get(OVERLAP)
        if overlap and not 0 <= overlap.value < 1:
            found.add(
                "bad-number", overlap.place, "`overlap` is a share of the width.", "Write 0 or more, below 1."
            )
        if title and kind and inelastic:
            read.materials[name] = Material(
                name=name,
                title=title.value,
                kind=cast("MaterialKind", kind.value),
                inelastic=inelastic.value,
                tiers=tiers,
                layers=int(layers) if layers is not None else None,
                tension_kgf=tension,
                width_cm=width,
                roll_length_cm=roll,
                overlap=overlap.value if overlap else None,
            )


def read_wording(root: Node | None, read: ListsRead, found: Findings) -> None:
    """The sentences that go with decisions."""
    fields = WORDING_FILE.read(root, "The file", found) if root is not None else None
    if fields is None:
        return
    words = fields.get(DISPOSITION_WORDS)
    caution, safety_net, other_leg = fields.get(CAUTION), fields.get(SAFETY_NET), fields.get(OTHER_LEG)
    no_working_day, estimate, provisional = (
        fields.get(NO_WORKING_DAY),
        fields.get(ESTIMATE),
        fields.get(PROVISIONAL),
    )
    if caution and safety_net and words and other_leg and no_working_day and estimate and provisional:
        read.wording = Wording(
            caution=caution.value,
            safety_net=tuple(sentence.value for sentence in safety_net.value),
            dispositions={key.name: text.value for key in DISPOSITION_KEYS if (text := words.get(key))},
            other_leg_waits=other_leg.value,
            no_working_day=no_working_day.value,
            pressure_estimate=estimate.value,
            provisional=provisional.value,
        )


def _entries(
    root: Node | None,
    file: Record,
    entries: Key[Placed[tuple[Fields, ...]]],
    name_key: Key[Placed[str]],
    names: Names[bool],
    found: Findings,
) -> list[tuple[Fields, str]]:
    """The entries of a file that is one list, with their names; each name is recorded."""
    fields = file.read(root, "The file", found) if root is not None else None
    listed = fields.get(entries) if fields else None
    if listed is None:
        names.complete = False
        return []
    return give_names(listed, name_key, names, found)


def give_names(
    listed: Placed[tuple[Fields, ...]], name_key: Key[Placed[str]], names: Names[bool], found: Findings
) -> list[tuple[Fields, str]]:
    """The entries of a list with their names, each of which is recorded; those given twice are left out."""
    named = [
        (entry, name.value)
        for entry in listed.value
        if (name := entry.get(name_key)) and names.give(name, True, found)
    ]
    whole = not listed.lost and all(entry.get(name_key) is not None for entry in listed.value)
    names.complete = names.complete and whole
    return named


def _above_zero(entry: Fields, key: Key[Placed[Fraction]], found: Findings) -> Fraction | None:
    number = entry.get(key)
    if number and number.value <= 0:
        found.add(
            "bad-number", number.place, f"`{key.name}` must be above 0.", "Correct it, or take the key out."
        )
    return number.value if number else None
