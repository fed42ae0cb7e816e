"""Reads `edition.yaml` of an edition that is based on another: what it is, and the settings it sets anew."""

from __future__ import annotations

from datetime import date
from typing import Final

from limbtier.domain.edition import Edition, Setting
from limbtier.domain.interval import Interval, SettingReference
from limbtier.foundation.diagnostics import did_you_mean
from limbtier.rulesets import intervals
from limbtier.rulesets.changes import WHY, Changes
from limbtier.rulesets.findings import Findings, Placed
from limbtier.rulesets.names import Names
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.read_settings import (
    DEADLINE_SETTINGS,
    EFFECTIVE_FROM,
    NUMBER_SETTINGS,
    OWNER,
    REVIEW_BY,
    REVIEW_SETTINGS,
    SET,
    SOURCES,
    STATUS,
    TITLE,
    VALUES,
    VERSION,
    EditionRead,
    check_kind,
    read_head,
    read_values,
)
from limbtier.rulesets.records import Fields, Key, MapOf, Record
from limbtier.rulesets.shapes import EditionId, NameUsed, Text

BASED_ON: Final = Key("based_on", EditionId, "the edition that this one changes", required=True)
NEW_TITLE: Final = Key("title", Text(), "what people call it; only for a setting that the base does not have")
SETTING: Final = Record("a setting", (NEW_TITLE, VALUES, SOURCES, *WHY))
SETTINGS: Final = Key("settings", MapOf(NameUsed, SETTING), "settings of the base set anew, and further ones")
LOCAL_EDITION: Final = Record(
    "a local edition",
    (SET, VERSION, TITLE, STATUS, EFFECTIVE_FROM, BASED_ON, OWNER, REVIEW_BY, SETTINGS),
)


def read_local_head(
    root: Node | None,
    folder_set: str,
    folder_version: str,
    sources: Names[bool],
    changes: Changes,
    found: Findings,
) -> EditionRead:
    """Everything of `edition.yaml`, with the settings of the base where they are not set anew."""
    base = changes.base
    read = EditionRead(guard_rails=base.guard_rails, settings=dict(base.settings))
    read.setting_names.known.update(base.settings)
    read.setting_names.base = base.id
    fields = LOCAL_EDITION.read(root, "The file", found) if root is not None else None
    if fields is None:
        read.setting_names.complete = False
        return read
    read_head(fields, folder_set, folder_version, read, found)
    _compare_with_base(fields, read, base, found)
    settings = fields.get(SETTINGS)
    if settings is None:
        read.setting_names.complete = not fields.wrote(SETTINGS)
        return read
    read.setting_names.complete = not settings.lost
    for name, entry in settings.value:
        if entry is not None:
            _read_setting(name, entry, fields.get(EFFECTIVE_FROM), read, sources, changes, found)
        else:
            read.setting_names.known.setdefault(name.value, None)
    return read


def _compare_with_base(fields: Fields, read: EditionRead, base: Edition, found: Findings) -> None:
    effective_from, status = fields.get(EFFECTIVE_FROM), fields.get(STATUS)
    if effective_from and effective_from.value < base.effective_from:
        message = f"`effective_from` is before the base `{base.id}` is in force."
        found.add(
            "dates-out-of-order", effective_from.place, message, f"Give {base.effective_from} or later."
        )
    if status and read.status != "draft" and base.status == "draft":
        message = f"The edition is {read.status}, and its base `{base.id}` is still a draft."
        found.add("base-not-released", status.place, message, "Release the base first, or write `draft`.")


def _read_setting(
    name: Placed[str],
    entry: Fields,
    effective_from: Placed[date] | None,
    read: EditionRead,
    sources: Names[bool],
    changes: Changes,
    found: Findings,
) -> None:
    before, title = changes.base.settings.get(name.value), entry.get(NEW_TITLE)
    values = read_values(name, entry, effective_from, found)
    cited = sources.all_of(entry.get(SOURCES), found)
    if before is None:
        _new_setting(name, entry, read, changes, found)
    elif entry.wrote(NEW_TITLE):
        message = f"`{name.value}` is a setting of the base and keeps its title."
        found.add("key-not-for-kind", entry.place_of(NEW_TITLE), message, "Take `title` out.")
    called = before.title if before else (title.value if title else None)
    if values is None or called is None or not entry.whole:
        return
    setting = Setting(name.value, called, values, cited)
    read.settings[name.value] = setting
    if before is None:
        read.setting_names.known[name.value] = setting
        return
    if changes.change("setting", "replaced", name, entry, before):
        read.setting_names.known[name.value] = setting
        _check_set_anew(name, setting, before, changes, found)


def _new_setting(
    name: Placed[str], entry: Fields, read: EditionRead, changes: Changes, found: Findings
) -> None:
    """A setting that the base does not have; without a title one of the base may have been meant."""
    if entry.wrote(NEW_TITLE):
        read.setting_names.give(name, None, found)
        changes.added("setting", name, entry)
        return
    advice = did_you_mean(name.value, changes.base.settings, "Give it a `title` if it is a new setting.")
    message = f"The base `{changes.base.id}` has no setting `{name.value}`."
    found.add("unknown-name", name.place, message, advice)


def _check_set_anew(
    name: Placed[str], setting: Setting, before: Setting, changes: Changes, found: Findings
) -> None:
    """A setting stays of its kind, and fits wherever the base uses it."""
    place = name.place
    if (setting.values, setting.sources) == (before.values, before.sources):
        changes.refuse_same(f"setting `{name.value}`", place)
    if name.value in (*REVIEW_SETTINGS, *DEADLINE_SETTINGS, *NUMBER_SETTINGS):
        check_kind(setting, place, name.value, found)
        return
    if isinstance(setting.values[0].value, Interval) != isinstance(before.values[0].value, Interval):
        kind = "an interval" if isinstance(before.values[0].value, Interval) else "a number"
        message = f"`{name.value}` is {kind} in the base."
        found.add("setting-kind", place, message, f"Write {kind}.")
        return
    for rule in changes.base.rules:
        if rule.then.review == SettingReference(name.value):
            for dated in setting.values:
                if isinstance(dated.value, Interval) and not intervals.fits_review(dated.value):
                    message = f"The rule `{rule.id}` sets a review by it, which cannot be `{dated.value}`."
                    found.add("review-interval", place, message, intervals.HOW_TO_REVIEW)
                    return
