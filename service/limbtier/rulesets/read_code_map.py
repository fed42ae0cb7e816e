"""Reads `code_maps/observations.yaml`: which codes of other systems stand for which inputs."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Final

from limbtier.domain.assessment import SIDES, Side
from limbtier.domain.code_map import CodedInput, CodeMap, Coding
from limbtier.domain.vocabulary import Input, Vocabulary
from limbtier.rulesets.findings import Findings, Placed
from limbtier.rulesets.names import Names
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.records import Fields, Key, ListOf, MapOf, Record
from limbtier.rulesets.shapes import Name, Text, Word
from limbtier.rulesets.strict_yaml import LARGEST_BYTES, compose

FILE: Final = "code_maps/observations.yaml"
MEASURED: Final = ("whole_number", "number")

_URI: Final = Word(
    r"^(https?://[A-Za-z0-9.-]+(:[0-9]+)?(/[A-Za-z0-9._~-]+)*|urn:[A-Za-z0-9][A-Za-z0-9.:_-]*)$",
    "bad-id",
    "Write a URI without an end stroke, such as https://example.invalid/fhir.",
)
_CODE: Final = Word(r"^[A-Za-z0-9][A-Za-z0-9._-]*$", "bad-id", "Write the code as its system gives it.")

BASE: Final = Key("base", _URI, "what begins every identifier that the service makes up", required=True)
SYSTEMS: Final = Key("systems", MapOf(Name, _URI), "the code systems, by a short name", required=True)
SYSTEM: Final = Key("system", Name, "the short name of the code system", required=True)
CODE: Final = Key("code", _CODE, "the code", required=True)
CODING: Final = Record("a code", (SYSTEM, CODE))
SITES: Final = tuple(
    Key(side, ListOf(CODING), f"the body sites that are the {side} leg", required=True) for side in SIDES
)
BODY_SITES: Final = Key("body_sites", Record("the body sites", SITES), "which leg is meant", required=True)
INPUT: Final = Key("input", Name, "the input that is answered", required=True)
CODE_OF: Final = Key("code", CODING, "the code of the observation, or of a component of it", required=True)
BODY_SITE: Final = Key("body_site", CODING, "the body site it must have; for inputs of the person only")
METHOD: Final = Key("method", CODING, "the method it must have")
DATED_BY: Final = Key("dated_by", Name, "the input with the day of the measurement, if not of the contact")
SOURCE: Final = Key("source", Text(), "where it is written that the code means this", required=True)
OBSERVATION: Final = Record("an observation", (INPUT, CODE_OF, BODY_SITE, METHOD, DATED_BY, SOURCE))
OBSERVATIONS: Final = Key(
    "observations", ListOf(OBSERVATION, least=0), "which observation answers which input", required=True
)
CODE_MAP_FILE: Final = Record("the code map", (BASE, SYSTEMS, BODY_SITES, OBSERVATIONS))


def load_code_map(rules_folder: Path, vocabularies: Iterable[Vocabulary]) -> CodeMap:
    """The code map of a rules folder; an empty one where there is no such file. An input that it names must
    be in one of the vocabularies. Raises InvalidRuleFiles."""
    found = Findings()
    try:
        with (rules_folder / FILE).open("rb") as opened:
            data = opened.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        return CodeMap()
    except OSError as error:
        found.add_file("missing-file", FILE, "The file cannot be opened.", f"Check it: {error.strerror}.")
        found.refuse()
        return CodeMap()
    read = read_code_map(compose(data, FILE, found), vocabularies, found)
    found.refuse()
    return read


def read_code_map(root: Node | None, vocabularies: Iterable[Vocabulary], found: Findings) -> CodeMap:
    """The code map; what is wrong with it goes to `found`."""
    fields = CODE_MAP_FILE.read(root, "The file", found) if root is not None else None
    if fields is None:
        return CodeMap()
    inputs: Names[Input] = Names("input")
    for vocabulary in vocabularies:
        inputs.known |= vocabulary.inputs
    systems: Names[str] = Names("code system")
    listed = fields.get(SYSTEMS)
    systems.complete = listed is not None and listed.whole
    for name, uri in listed.value if listed else ():
        if uri is not None:
            systems.give(name, uri.value, found)
    sites = _sites(fields.get(BODY_SITES), systems, found)
    observations: list[CodedInput] = []
    entries = fields.get(OBSERVATIONS)
    for entry in entries.value if entries else ():
        one = _observation(entry, inputs, systems, found)
        if one is None:
            continue
        if any(_meet(one, other) for other in observations):
            message = f"Another entry answers an input by the code `{one.code.code}` under the same terms."
            found.add("duplicate-id", entry.place, message, "Take one out, or tell them apart by body site.")
        observations.append(one)
    base = fields.get(BASE)
    return CodeMap(base.value if base else "", sites, tuple(observations))


def _sites(fields: Fields | None, systems: Names[str], found: Findings) -> dict[Coding, Side]:
    sites: dict[Coding, Side] = {}
    for side, key in zip(SIDES, SITES, strict=True):
        codes = fields.get(key) if fields else None
        for one in codes.value if codes else ():
            coding = _coding(one, systems, found)
            if coding is None:
                continue
            if coding in sites:
                message = f"The body site `{coding.code}` is given twice."
                found.add("listed-twice", one.place, message, "Take one of the two out.")
            sites[coding] = side
    return sites


def _observation(
    entry: Fields, inputs: Names[Input], systems: Names[str], found: Findings
) -> CodedInput | None:
    named, dated_by = entry.get(INPUT), entry.get(DATED_BY)
    asked = _input_of(named, MEASURED, "a number", inputs, found)
    _input_of(dated_by, ("date",), "a date", inputs, found)
    code = _coding(entry.get(CODE_OF), systems, found)
    site = _coding(entry.get(BODY_SITE), systems, found)
    method = _coding(entry.get(METHOD), systems, found)
    if asked is not None and asked.scope == "limb" and entry.wrote(BODY_SITE):
        message = f"`{asked.name}` is asked of each leg, so its body site says which leg it is."
        advice = "Take `body_site` out; list the body sites of the legs in `body_sites`."
        found.add("key-not-for-kind", entry.place_of(BODY_SITE), message, advice)
    if named is None or asked is None or code is None or not entry.whole:
        return None
    return CodedInput(named.value, code, site, method, dated_by.value if dated_by else None)


def _input_of(
    name: Placed[str] | None, kinds: tuple[str, ...], wanted: str, inputs: Names[Input], found: Findings
) -> Input | None:
    entry = inputs.find(name, found) if name else None
    if name and entry is not None and entry.kind not in kinds:
        message = f"`{entry.name}` is not answered with {wanted}."
        found.add("key-not-for-kind", name.place, message, f"Name an input that takes {wanted}.")
        return None
    return entry


def _coding(fields: Fields | None, systems: Names[str], found: Findings) -> Coding | None:
    if fields is None:
        return None
    system, code = fields.get(SYSTEM), fields.get(CODE)
    uri = systems.find(system, found) if system else None
    return Coding(uri, code.value) if uri and code else None


def _meet(one: CodedInput, other: CodedInput) -> bool:
    """Whether one observation could answer by both entries."""

    def apart(left: Coding | None, right: Coding | None) -> bool:
        return left is not None and right is not None and left != right

    return one.code == other.code and not (
        apart(one.body_site, other.body_site) or apart(one.method, other.method)
    )
