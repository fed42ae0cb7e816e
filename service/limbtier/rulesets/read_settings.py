"""Reads `edition.yaml`: what the edition is, and its settings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from fractions import Fraction
from typing import Final, cast

from limbtier.domain.edition import DatedValue, Setting, Status
from limbtier.domain.interval import Interval
from limbtier.rulesets import intervals
from limbtier.rulesets.findings import Findings, Place, Placed
from limbtier.rulesets.names import Names
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.records import Fields, Key, ListOf, MapOf, Record
from limbtier.rulesets.shapes import (
    NUMBER,
    Day,
    EditionVersion,
    Identifier,
    IntervalText,
    Name,
    NameUsed,
    OneOf,
    Role,
    Schema,
    Text,
    Version,
    parse_number,
    scalar,
)

# Settings that the engine itself reads; without them no decision has a review date.
REVIEW_SETTINGS: Final = (
    "review_cannot_decide_yet",
    "review_change",
    "review_undetermined",
    "review_stop_and_escalate",
    "review_below_target",
    "review_always",
)
DEADLINE_SETTINGS: Final = ("chase_deadline", "overdue_deadline")
NUMBER_SETTINGS: Final = ("girth_interval_cm",)


@dataclass(frozen=True, slots=True)
class SettingValue:
    """An interval or a number."""

    def read(self, node: Node, label: str, found: Findings) -> Placed[Interval | Fraction] | None:
        """The value."""
        read = scalar(node, label, "an interval or a number", found)
        if read is None:
            return None
        number = parse_number(read.text)
        if number is not None:
            return Placed(number, read.place)
        interval = IntervalText().read(node, label, found)
        return Placed(interval.value, read.place) if interval else None

    def schema(self) -> Schema:
        """Either form."""
        return {"anyOf": [{"type": "number"}, {"type": "string", "pattern": f"{intervals.PATTERN}|{NUMBER}"}]}


FROM: Final = Key("from", Day(), "the first day on which it holds", required=True)
TO: Final = Key("to", Day(), "the last day on which it holds; only the last value may leave it out")
VALUE: Final = Key("value", SettingValue(), "an interval or a number", required=True)
DATED: Final = Record("a value", (FROM, TO, VALUE))
TITLE: Final = Key("title", Text(), "what people call it", required=True)
VALUES: Final = Key("values", ListOf(DATED), "values by date, without gap or overlap", required=True)
SOURCES: Final = Key("sources", ListOf(Identifier), "ids of sources", required=True)
SETTING: Final = Record("a setting", (TITLE, VALUES, SOURCES))

SET: Final = Key("edition", Name, "the name of the rule set, as its folder", required=True)
VERSION: Final = Key("version", EditionVersion, "the version, as its folder", required=True)
STATUS: Final = Key(
    "status", OneOf(("draft", "released")), "draft or released; retired in released.yaml", required=True
)
EFFECTIVE_FROM: Final = Key("effective_from", Day(), "the first day on which it may be used", required=True)
BASED_ON: Final = Key("based_on", Text(), "`none`, because this is the whole edition", required=True)
OWNER: Final = Key("owner", Role(), "the role that answers for it, not a person", required=True)
REVIEW_BY: Final = Key("review_by", Day(), "the day by which it must be looked at again", required=True)
GUARD_RAILS: Final = Key("guard_rails", Version, "the version of the guard rails that bind it", required=True)
SETTINGS: Final = Key("settings", MapOf(NameUsed, SETTING), "named values that may be re-set", required=True)
EDITION: Final = Record(
    "the edition",
    (SET, VERSION, TITLE, STATUS, EFFECTIVE_FROM, BASED_ON, OWNER, REVIEW_BY, GUARD_RAILS, SETTINGS),
)


@dataclass(slots=True)
class EditionRead:
    """The head of an edition. Parts that were refused have empty values; then the edition is refused."""

    name: str = ""
    version: str = ""
    title: str = ""
    status: Status = "draft"
    effective_from: date = date.min
    owner: str = ""
    review_by: date = date.min
    guard_rails: str = ""
    settings: dict[str, Setting] = field(default_factory=dict)
    setting_names: Names[Setting | None] = field(default_factory=lambda: Names("setting"))


def read_edition_head(
    root: Node | None, folder_set: str, folder_version: str, sources: Names[bool], found: Findings
) -> EditionRead:
    """Everything of `edition.yaml`; `root` is None when the file could not be read at all."""
    read = EditionRead()
    fields = EDITION.read(root, "The file", found) if root is not None else None
    if fields is None:
        read.setting_names.complete = False
        return read
    read_head(fields, folder_set, folder_version, read, found)
    _read_settings(fields, read, sources, found)
    return read


def read_head(
    fields: Fields, folder_set: str, folder_version: str, read: EditionRead, found: Findings
) -> None:
    """What an edition is, without its settings and guard rails."""
    for key, folder in ((SET, folder_set), (VERSION, folder_version)):
        written = fields.get(key)
        if written and written.value != folder:
            message = f"`{key.name}` is `{written.value}`, but the folder is `{folder}`."
            found.add("folder-disagrees", written.place, message, "Write the same in both.")
    effective_from, review_by = fields.get(EFFECTIVE_FROM), fields.get(REVIEW_BY)
    if effective_from and review_by and review_by.value <= effective_from.value:
        message = "`review_by` is not after `effective_from`."
        found.add("dates-out-of-order", review_by.place, message, "Give a later day.")
    read.name, read.version = _text(fields.get(SET)), _text(fields.get(VERSION))
    read.title, read.owner = _text(fields.get(TITLE)), _text(fields.get(OWNER))
    read.status = cast("Status", _text(fields.get(STATUS)) or "draft")
    read.guard_rails = _text(fields.get(GUARD_RAILS))
    read.effective_from = effective_from.value if effective_from else date.min
    read.review_by = review_by.value if review_by else date.min


def _text(word: Placed[str] | None) -> str:
    return word.value if word else ""


def _read_settings(fields: Fields, read: EditionRead, sources: Names[bool], found: Findings) -> None:
    settings = fields.get(SETTINGS)
    if settings is None:
        read.setting_names.complete = False
        return
    effective_from = fields.get(EFFECTIVE_FROM)
    for name, entry in settings.value:
        setting = _setting(name, entry, effective_from, sources, found) if entry else None
        read.setting_names.give(name, setting, found)
        if setting is not None:
            read.settings[name.value] = setting
    read.setting_names.complete = not settings.lost
    for needed in (*REVIEW_SETTINGS, *DEADLINE_SETTINGS, *NUMBER_SETTINGS):
        if needed not in read.setting_names.known:
            if read.setting_names.complete:
                advice = f"Add `{needed}` under `settings`."
                found.add("setting-missing", settings.place, f"The setting `{needed}` is missing.", advice)
            continue
        known = read.setting_names.known[needed]
        if known is not None:
            check_kind(known, read.setting_names.places[needed], needed, found)


def check_kind(setting: Setting, place: Place, name: str, found: Findings) -> None:
    """Name a setting that the engine reads and that is not what it reads."""
    if name in NUMBER_SETTINGS:
        if any(isinstance(dated.value, Interval) or dated.value <= 0 for dated in setting.values):
            found.add(
                "setting-kind", place, f"`{name}` must be a number above 0.", "Write a number, such as 4."
            )
        return
    for dated in setting.values:
        if not isinstance(dated.value, Interval):
            found.add("setting-kind", place, f"`{name}` must be an interval.", intervals.HOW_TO)
        elif dated.value.kind == "days_of_first_contact" and name in DEADLINE_SETTINGS:
            message = f"`{name}` counts from the assessment and cannot be `{dated.value}`."
            found.add("setting-kind", place, message, "Write it without `of first contact`.")
        elif name in REVIEW_SETTINGS and not intervals.fits_review(dated.value):
            message = f"`{name}` sets a review and cannot be `{dated.value}`."
            found.add("review-interval", place, message, intervals.HOW_TO_REVIEW)


def _setting(
    name: Placed[str],
    entry: Fields,
    effective_from: Placed[date] | None,
    sources: Names[bool],
    found: Findings,
) -> Setting | None:
    title = entry.get(TITLE)
    dated = read_values(name, entry, effective_from, found)
    cited = sources.all_of(entry.get(SOURCES), found)
    if not (title and dated and entry.whole):
        return None
    return Setting(name.value, title.value, dated, cited)


def read_values(
    name: Placed[str], entry: Fields, effective_from: Placed[date] | None, found: Findings
) -> tuple[DatedValue, ...] | None:
    """The values of a setting by date, all of one kind; None when they cannot be used."""
    values = entry.get(VALUES)
    dated = _dated_values(values.value, effective_from if values.whole else None, found) if values else None
    if dated and len({isinstance(value.value, Interval) for value in dated}) > 1:
        if entry.whole:
            message = f"`{name.value}` mixes intervals and numbers."
            found.add("setting-kind", name.place, message, "Use one kind.")
        return None
    return dated


def _dated_values(
    entries: Sequence[Fields], effective_from: Placed[date] | None, found: Findings
) -> tuple[DatedValue, ...] | None:
    """The values by date, or None when they are not one row of days without gap or overlap."""
    values: list[DatedValue] = []
    before = len(found)
    for place, entry in enumerate(entries):
        first, last, value = entry.get(FROM), entry.get(TO), entry.get(VALUE)
        if not (first and value) or (entry.wrote(TO) and last is None):
            return None
        if last and last.value < first.value:
            found.add(
                "dates-out-of-order",
                last.place,
                "`to` is before `from`.",
                "Exchange or correct the two days.",
            )
            return None
        if last is None and place < len(entries) - 1:
            message = "This value has no end, and another value follows."
            found.add("setting-has-no-end", entry.place, message, "Add `to`, or put this value last.")
            return None
        if values and (end := values[-1].effective_to) is not None:
            _compare_days(end, first, found)
        values.append(DatedValue(value.value, first.value, last.value if last else None))
    if values and effective_from and values[0].effective_from > effective_from.value:
        message = f"The first value holds only after the edition is in force from {effective_from.value}."
        found.add(
            "setting-starts-late", entries[0].place_of(FROM), message, "Let it begin on that day or before."
        )
    return tuple(values) if len(found) == before else None


def _compare_days(end: date, first: Placed[date], found: Findings) -> None:
    expected = end + timedelta(days=1)
    if first.value > expected:
        message = f"No value holds from {expected} until {first.value}."
        found.add("setting-gap", first.place, message, f"Begin this value on {expected}.")
    elif first.value < expected:
        message = f"Two values hold from {first.value} on; the one before ends on {end}."
        found.add("setting-overlap", first.place, message, f"Begin this value on {expected}.")
