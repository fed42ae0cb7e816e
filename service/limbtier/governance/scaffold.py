"""Begins a local edition: a folder of rule files that load as they are, and say in remarks how to go on."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.domain.interval import Interval
from limbtier.domain.rule import Rule
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import LimbtierError
from limbtier.governance.rule_text import rule_lines
from limbtier.governance.sentences import number_text
from limbtier.rulesets.repository import OTHER_FOLDERS
from limbtier.rulesets.shapes import EDITION_VERSION, LONGEST_NAME, NAME

_WHY: Final = (
    "    reason: write here why this edition departs from its base",
    "    decided_by: write here which role decided it",
)


class NoNewEdition(LimbtierError):
    """A new edition cannot be begun under this name."""

    code = "no-new-edition"


def new_edition(rules: Path, base: Edition, rule_set: str, version: str, today: date) -> Path:
    """Write the files of a new local edition below the rules folder, all of them or none; returns its folder.

    Raises NoNewEdition for a name that no edition may have and for a folder that is there already.
    """
    folder = rules / rule_set / version
    _refuse(rules, rule_set, version)
    parent = folder.parent
    made_parent = not parent.exists()
    parent.mkdir(exist_ok=True)
    try:
        # A folder whose name begins with a point is passed over by whoever loads rules.
        with tempfile.TemporaryDirectory(prefix=".new-", dir=parent) as unfinished:
            written = Path(unfinished) / version
            for name, text in scaffold(base, rule_set, version, today).items():
                file = written / name
                file.parent.mkdir(parents=True, exist_ok=True)
                file.write_text(text, encoding="utf-8", newline="\n")
            written.rename(folder)
    except OSError:
        if made_parent:
            parent.rmdir()
        raise
    return folder


def _refuse(rules: Path, rule_set: str, version: str) -> None:
    found: list[Diagnostic] = []
    if not re.fullmatch(NAME, rule_set) or rule_set in OTHER_FOLDERS or len(rule_set) > LONGEST_NAME:
        message = f"`{_shown(rule_set)}` cannot be the name of a rule set."
        advice = "Write one word in small letters, digits and _, which is no folder of other rule files."
        found.append(Diagnostic("bad-name", message, advice))
    if not re.fullmatch(EDITION_VERSION, version):
        message = f"`{_shown(version)}` cannot be the version of an edition."
        found.append(Diagnostic("bad-version", message, "Write year and two numbers, such as 2026.1.0."))
    if not found and ((rules / rule_set).is_symlink() or (rules / rule_set / version).exists()):
        message = f"`{rule_set}/{version}` is there already."
        found.append(Diagnostic("edition-exists", message, "Take another version; nothing is overwritten."))
    if found:
        raise NoNewEdition(found)


def _shown(text: str) -> str:
    return "".join(letter if letter.isprintable() else "?" for letter in text[:40])


def scaffold(base: Edition, rule_set: str, version: str, today: date) -> Mapping[str, str]:
    """The files of a new local edition. Lines that begin with ## explain; those that begin with one # are
    entries that hold once the # is taken away."""
    return {
        "edition.yaml": _head(base, rule_set, version, today),
        "CHANGES.md": _changes(base, rule_set, version),
        "rules/local.yaml": _rules(base),
        "cases/local.yaml": _cases(base),
        "sources.yaml": _sources(today),
        "materials.yaml": _materials(base),
        "arrangements.yaml": _arrangements(base),
        "tiers.yaml": _tiers(base),
        "wording.yaml": _wording(),
        "vocabulary.yaml": _vocabulary(base),
    }


def _remarks(*lines: str) -> list[str]:
    return [f"## {line}".rstrip() for line in lines]


def _entries(lines: Iterable[str]) -> list[str]:
    return [f"# {line}".rstrip() for line in lines]


def _text(*parts: Iterable[str]) -> str:
    return "".join(f"{line}\n" for part in parts for line in part)


def _editor(schema: str, folders: str = "../..") -> list[str]:
    """A remark that tells editors which schema describes the file."""
    return [f"# yaml-language-server: $schema={folders}/schemas/local_{schema}.json"]


def _head(base: Edition, rule_set: str, version: str, today: date) -> str:
    begins = max(today, base.effective_from)
    always = base.settings["review_always"]
    value = "14 days" if str(always.values[-1].value) != "14 days" else "7 days"
    known = [
        f"  {name}: {_value(setting.values[-1].value)}, {setting.title}"
        for name, setting in base.settings.items()
    ]
    return _text(
        _editor("edition"),
        _remarks(
            f"A local edition: it holds only what it changes in {base.id}; all the rest is as there.",
            "Lines that begin with ## explain. Take the # from a line that begins with one # to use it.",
            "After every change run `limbtier check`; rules/README.md says more.",
        ),
        [
            f"edition: {rule_set}",
            f"version: {version}",
            f"title: Local edition {rule_set}, based on {base.id}",
            "status: draft",
            f"effective_from: {begins.isoformat()}",
            f"based_on: {base.id}",
            "owner: Clinical lead of the organisation that uses it",
            f"review_by: {_a_year_after(begins).isoformat()}",
        ],
        _remarks(
            "",
            "Settings of the base that hold otherwise here, each with a reason and the role that decided it.",
            "The base has these, with the value that each reached last:",
            *known,
        ),
        _entries(
            [
                "settings:",
                "  review_always:",
                f"    values: [{{from: {begins.isoformat()}, value: {value}}}]",
                f"    sources: [{_source(base)}]",
                *_WHY,
            ]
        ),
    )


def _value(value: Interval | Fraction) -> str:
    return str(value) if isinstance(value, Interval) else number_text(value)


def _a_year_after(day: date) -> date:
    try:
        return day.replace(year=day.year + 1)
    except ValueError:  # 29 February
        return day.replace(year=day.year + 1, day=28)


def _changes(base: Edition, rule_set: str, version: str) -> str:
    return (
        f"# Changes of the edition {rule_set}\n\n## {version}\n\n"
        f"First edition, based on {base.id}. Say here what it changes, for whom, from which day, and which\n"
        "readings it takes. Name roles, not people.\n"
    )


def _rules(base: Edition) -> str:
    replaced, *others = [rule for rule in base.rules if not rule.then.classify] or list(base.rules)
    withdrawn = others[0] if others else replaced
    flag = next(asked for asked in base.vocabulary.inputs.values() if asked.kind == "flag")
    return _text(
        _editor("rules", "../../.."),
        _remarks("One topic a file; add further files as you like. A rule that is added looks like this:"),
        _entries(
            [
                "topic: Local rules",
                "rules:",
                "  - id: local-example",
                "    title: Write here what people call the rule",
                f"    when: {{{flag.name}: yes}}",
                "    then: {caution: Write here what the nurse is told.}",
                "    because: Write here, in one or two plain sentences, why.",
                f"    sources: [{_source(base)}]",
                *_WHY,
            ]
        ),
        _remarks("", "A rule of the base that holds otherwise here is given anew as a whole:"),
        _entries(["replace:", *_replaced(replaced)]),
        _remarks("", "A rule of the base that does not hold here:"),
        _entries(["withdraw:", f"  - id: {withdrawn.id}", *_WHY]),
    )


def _replaced(rule: Rule) -> Iterable[str]:
    return (*rule_lines(rule, f"Write here why. In the base: {rule.because}"), *_WHY)


def _cases(base: Edition) -> str:
    day = base.effective_from + timedelta(days=30)
    start = next(iter(base.starting_points), None)
    starts = f"    starts_from: {start}" if start else "    limb: {}"
    some = base.cases[0].id if base.cases else "some-case"
    return _text(
        ["# Invented people; no real assessment."],
        _remarks(
            "At least one worked case for each change. A case starts from one of the answers of the base:",
            *(f"  {name}" for name in base.starting_points),
            "and changes what matters. Write what must come out before you let the service decide it.",
        ),
        _entries(
            [
                "cases:",
                "  - id: local-example",
                "    story: Write here in a sentence what this case shows.",
                f"    assessed_at: {day.isoformat()}T09:30:00+00:00",
                "    calendar: england",
                starts,
                "    expect:",
                "      disposition: start",
                "      tier: mild",
                f"      review_due_on: {day.isoformat()}",
            ]
        ),
        _remarks(
            "",
            "All cases of the base are decided too. Those that come out differently are listed here with a",
            "reason; `limbtier check --list-differing` writes the list, to be read line by line.",
        ),
        _entries(
            [
                "replace:",
                "  - reason: write here why these come out differently",
                "    decided_by: write here which role decided it",
                "    cases:",
                f"      - {{id: {some}, expect: {{review_due_on: {day.isoformat()}}}}}",
            ]
        ),
    )


def _sources(today: date) -> str:
    return _text(
        _editor("sources"),
        _remarks("Sources that the base does not have. `basis` is seen, memory or practice."),
        _entries(
            [
                "sources:",
                "  - id: local-policy",
                "    title: Write here the title, the body and the day of your policy",
                "    basis: seen",
                "    point: Write here what you read it for.",
                f"    checked_on: {today.isoformat()}",
            ]
        ),
    )


def _materials(base: Edition) -> str:
    some = next(iter(base.materials.values()))
    return _text(
        _editor("materials"),
        _remarks("Kinds of material, never products. Further ones stand under `materials`."),
        _entries(
            [
                "replace:",
                f"  - name: {some.name}",
                "    title: Write here how this material is called where you work",
                f"    kind: {some.kind}",
                f"    inelastic: {'yes' if some.inelastic else 'no'}",
                f"    tiers: [{', '.join(some.tiers)}]",
                *_WHY,
            ]
        ),
    )


def _arrangements(base: Edition) -> str:
    some = next(iter(base.arrangements.values()))
    return _text(
        _editor("arrangements"),
        _remarks("What your services are called. Further arrangements stand under `arrangements`."),
        _entries(
            [
                "replace:",
                f"  - name: {some.name}",
                "    title: Write here how this service is called where you work",
                *_WHY,
            ]
        ),
    )


def _tiers(base: Edition) -> str:
    return _text(
        _editor("tiers"),
        _remarks("A tier in other words, or looked at sooner. Their names and their order stay."),
        _entries(
            [
                "replace:",
                f"  - name: {base.tiers[1].name}",
                "    review_within: same day",
                *_WHY,
            ]
        ),
    )


def _wording() -> str:
    return _text(
        _editor("wording"),
        _remarks("Sentences that follow the caution and the safety-net advice of the base, which stay."),
        _entries(
            [
                "caution: Write here what must be read with every decision.",
                "safety_net:",
                "  - Write here whom to ring.",
                *(line.strip() for line in _WHY),
            ]
        ),
    )


def _vocabulary(base: Edition) -> str:
    flag = next(asked for asked in base.vocabulary.inputs.values() if asked.kind == "flag")
    return _text(
        _editor("vocabulary"),
        _remarks(
            "Further questions, further answers of questions of the base, further facts and lifts. What the",
            "base has is never renamed, narrowed or redefined. A further answer of a question that the guard",
            "rails read says with `counts_as` which of their answers it counts as.",
        ),
        _entries(
            [
                "inputs:",
                "  - name: local_question",
                "    scope: limb",
                "    kind: flag",
                f"    group: {flag.group}",
                "    question: Write here the question in plain words.",
                *_WHY,
            ]
        ),
    )


def _source(base: Edition) -> str:
    return "common-practice" if "common-practice" in base.sources else next(iter(base.sources))
