"""Every part of an edition in words, aspect by aspect, so that two editions can be set side by side."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal

from limbtier.domain.edition import Edition, Material, Setting, Source, Tier, WorkedCase
from limbtier.domain.interval import SettingReference
from limbtier.domain.rule import Rule
from limbtier.domain.vocabulary import Choice, Input, Range
from limbtier.governance.document import Cell, Line, Name, cell
from limbtier.governance.rendering import BASIS
from limbtier.governance.sentences import Sentences, number_text, setting_values

Part = Literal[
    "edition",
    "rule",
    "setting",
    "tier",
    "question",
    "measure",
    "named fact",
    "lift",
    "arrangement",
    "material",
    "wording",
    "source",
    "worked case",
]


@dataclass(frozen=True, slots=True)
class Aspect:
    """Something that a part tells: as it is held, and in words. Only the former is compared, because words
    also change with what they name: a rule does not differ because a material is called otherwise."""

    held: object
    write: Callable[[], Cell]

    @property
    def text(self) -> Cell:
        """The words, which are not written before they are needed."""
        return self.write()


@dataclass(frozen=True, slots=True)
class Described:
    """One part, aspect by aspect; `sources` are the ids of those it rests on."""

    title: str
    aspects: Mapping[str, Aspect]
    sources: tuple[str, ...] = ()


def described(edition: Edition) -> Mapping[Part, Mapping[str, Described]]:
    """Every part of an edition by its sort and name, in the order in which it is read."""
    words = Sentences(edition)
    vocabulary = edition.vocabulary
    return {
        "edition": {"edition": _head(edition)},
        "rule": {rule.id: _rule(edition, words, rule) for rule in edition.rules},
        "setting": {name: _setting(edition, one) for name, one in edition.settings.items()},
        "tier": {one.name: _tier(one) for one in edition.tiers},
        "question": {name: _question(words, one) for name, one in vocabulary.inputs.items()},
        "measure": {
            name: _plain(
                one.title,
                {"title": one.title, "unit": one.unit or "none", "decimal places": str(one.places)},
            )
            for name, one in vocabulary.measures.items()
        },
        "named fact": {
            name: _plain(one.title, {"title": one.title}) for name, one in vocabulary.facts.items()
        },
        "lift": {
            name: _plain(one.title, {"title": one.title, "shows by": ", ".join(one.inputs)})
            for name, one in vocabulary.lifts.items()
        },
        "arrangement": {
            name: _plain(one.title, {"title": one.title}) for name, one in edition.arrangements.items()
        },
        "material": {name: _material(one) for name, one in edition.materials.items()},
        "wording": dict(_wording(edition)),
        "source": {name: _source(one) for name, one in edition.sources.items()},
        "worked case": {one.id: _case(one) for one in edition.cases},
    }


def _plain(title: str, aspects: Mapping[str, str]) -> Described:
    """A part that is told by plain texts."""
    return Described(title, {name: _told(text) for name, text in aspects.items()})


def _head(edition: Edition) -> Described:
    return _plain(
        edition.title,
        {
            "title": edition.title,
            "status": edition.status,
            "in force from": edition.effective_from.isoformat(),
            "based on": edition.based_on or "no other edition",
            "who answers for it": edition.owner,
            "to be looked at again by": edition.review_by.isoformat(),
            "guard rails": edition.guard_rails,
        },
    )


def _rule(edition: Edition, words: Sentences, rule: Rule) -> Described:
    return Described(
        rule.title,
        {
            "title": _told(rule.title),
            "topic": _told(rule.topic),
            "when": Aspect(rule.when, lambda: (words.when(rule.when),)),
            "then": Aspect(rule.then, lambda: words.then(rule)),
            "because": _told(rule.because),
            "sources": Aspect(rule.sources, lambda: _cited(edition, rule.sources)),
        },
        rule.sources,
    )


def _cited(edition: Edition, ids: tuple[str, ...]) -> Cell:
    """Sources by title, and how each is known."""
    return tuple(
        (Name(one), f": {edition.sources[one].title} ({BASIS[edition.sources[one].basis]})") for one in ids
    )


def _setting(edition: Edition, setting: Setting) -> Described:
    return Described(
        setting.title,
        {
            "title": _told(setting.title),
            "value": Aspect(setting.values, lambda: setting_values(setting)),
            "sources": Aspect(setting.sources, lambda: _cited(edition, setting.sources)),
        },
        setting.sources,
    )


def _tier(tier: Tier) -> Described:
    within = tier.review_within
    setting = (
        f"the setting {within.setting}" if isinstance(within, SettingReference) else str(within or "not set")
    )
    return _plain(
        tier.title,
        {
            "title": tier.title,
            "meaning": tier.meaning,
            "intended pressure": tier.intended_pressure,
            "compression": _yes(tier.compression),
            "look again within": setting,
        },
    )


def _question(words: Sentences, asked: Input) -> Described:
    aspects = {
        "question": _told(asked.question),
        "help": _told(asked.help),
        "about": _told(f"{asked.scope}, in the group {asked.group}"),
        "kind": _told(asked.kind.replace("_", " ")),
        "asked when": Aspect(asked.asked_when, lambda: (_asked_when(words, asked),)),
        "may be not done": _told(_yes(asked.may_be_not_done)),
        "danger sign": _told(_yes(asked.danger_sign)),
    }
    if asked.choices:
        aspects["answers"] = Aspect(asked.choices, lambda: tuple(map(_answer, asked.choices)))
    if asked.kind in ("number", "whole_number", "number_series"):
        aspects["unit"] = _told(asked.unit or "none")
        aspects["refused outside"] = _told(_range(asked.range))
        aspects["unusual outside"] = _told(_range(asked.expected))
        aspects["decimal places"] = _told(str(asked.places))
    return Described(asked.question, aspects)


def _told(text: str) -> Aspect:
    return Aspect(text, lambda: cell(text))


def _asked_when(words: Sentences, asked: Input) -> Line:
    return words.when(asked.asked_when) if asked.asked_when else ("always",)


def _answer(choice: Choice) -> Line:
    return Name(choice.value), f": {choice.meaning}", _counts_as(choice)


def _counts_as(choice: Choice) -> str:
    return f" (counts as {choice.counts_as} for guard rails)" if choice.counts_as else ""


def _range(edges: Range) -> str:
    """Both edges in words."""
    low, high = edges.at_least, edges.at_most
    if low is None and high is None:
        return "no edges"
    if low is None or high is None:
        return f"at most {number_text(high)}" if high is not None else f"at least {_optional(low)}"
    return f"{number_text(low)} to {number_text(high)}"


def _material(material: Material) -> Described:
    return _plain(
        material.title,
        {
            "title": material.title,
            "kind": material.kind,
            "stretch": "hardly stretches" if material.inelastic else "stretches",
            "tiers": ", ".join(material.tiers),
            "layers": str(material.layers or "not given"),
            "tension in kgf": _optional(material.tension_kgf),
            "width in cm": _optional(material.width_cm),
            "length of a roll in cm": _optional(material.roll_length_cm),
            "overlap": _optional(material.overlap),
        },
    )


def _optional(number: Fraction | None) -> str:
    return "not given" if number is None else number_text(number)


def _wording(edition: Edition) -> Iterator[tuple[str, Described]]:
    wording = edition.wording
    texts: dict[str, tuple[str, ...]] = {
        "caution": (wording.caution,),
        "safety_net": wording.safety_net,
        "other_leg_waits": (wording.other_leg_waits,),
        "no_working_day": (wording.no_working_day,),
        "pressure_estimate": (wording.pressure_estimate,),
        "provisional": (wording.provisional,),
        **{f"disposition {name}": (text,) for name, text in wording.dispositions.items()},
    }
    for name, lines in texts.items():
        yield name, Described(name.replace("_", " "), {"text": _lines(lines)})


def _lines(lines: tuple[str, ...]) -> Aspect:
    return Aspect(lines, lambda: cell(*lines))


def _source(source: Source) -> Described:
    return _plain(
        source.title,
        {
            "title": source.title,
            "how it is known": BASIS[source.basis],
            "read for": source.point,
            "looked at on": source.checked_on.isoformat(),
        },
    )


def _case(case: WorkedCase) -> Described:
    return Described(
        case.story,
        {
            "story": _told(case.story),
            "limb": _told(case.limb),
            "answers": Aspect(case.assessment, lambda: tuple(_entries(case.assessment))),
            "expects": Aspect(case.expect, lambda: tuple(_entries(case.expect))),
        },
    )


def _entries(value: Mapping[str, Any]) -> Iterator[Line]:
    """Nested entries, a line each."""
    for name, entry in value.items():
        if isinstance(entry, Mapping):
            yield from ((Name(name), " ", *line) for line in _entries(entry))
        else:
            yield (Name(name), f": {_value(entry)}")


def _value(entry: object) -> str:
    if isinstance(entry, bool):
        return _yes(entry)
    if isinstance(entry, list | tuple):
        return ", ".join(map(_value, entry)) or "none"
    return str(entry)


def _yes(flag: bool) -> str:
    return "yes" if flag else "no"
