"""Speed of the due list and of follow-ups: `python -m tests.benchmarks.due_list`. Nothing is asserted.

The episodes of the list are put into the table directly. Decisions of first contacts and of follow-ups are
made in turns, because a shared machine moves by a factor of two between runs; then again beside all the
other episodes, and in one episode of many contacts.
"""

from __future__ import annotations

import argparse
import json
import random
import statistics
import tempfile
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date, timedelta
from functools import partial
from itertools import count
from pathlib import Path
from typing import Any

from limbtier.domain.caller import Caller
from limbtier.domain.decision import DISPOSITIONS
from limbtier.domain.due_reviews import AttentionDays, DueFilter
from limbtier.domain.episode_state import TIERS, EpisodeState
from limbtier.domain.episode_text import written
from limbtier.foundation.settings import CHECKOUT
from limbtier.store.due_list import DueTable, mark_of
from limbtier.store.episodes import state_row
from limbtier.store.packing import packed
from limbtier.store.tables import episode_parts, episodes, microseconds
from limbtier.use_cases.due_reviews import due_page
from tests.support.simulated_year import BEGIN, KEPT_OF_LEG, KEPT_OF_PERSON, ORGANISATION, Service, service_in

TODAY = date(2027, 9, 1)
PAGE = 50
FAR = 10_000_000
CALLER = Caller("client:benchmark", ORGANISATION, frozenset({"decide"}))
_NUMBERS = count()


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--episodes", type=int, default=100_000)
    parser.add_argument("--contacts", type=int, default=10_000, help="contacts of the long episode")
    parser.add_argument("--rounds", type=int, default=60)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="limbtier-due-") as folder, service_in(Path(folder)) as service:
        decisions(service, options.rounds, "an empty store")
        state = service.episodes.table.find(ORGANISATION, "ep-1-0")
        if state is None:
            raise SystemExit("the first contact is not there")
        fill(service, state.state, options.episodes)
        the_list(service.due, options.rounds)
        decisions(service, options.rounds, f"{options.episodes:,} other episodes")
        long_episode(service, state.state, options.contacts, options.rounds)


def fill(service: Service, state: EpisodeState, episodes_wanted: int) -> None:
    """Open episodes of one organisation, one in three of which needs nobody yet."""
    chance = random.Random(1)
    kept = packed(written(state))
    rows = []
    for number in range(episodes_wanted):
        due = TODAY + timedelta(days=chance.randint(-20, 10))
        leg = replace(
            state.limbs["left"],
            review_due_on=due,
            disposition=chance.choice(DISPOSITIONS),
            tier=chance.choice(TIERS),
        )
        calendar = "northern-ireland" if chance.random() < 0.001 else "england"
        one = replace(state, limbs={"left": leg}, calendar=calendar)
        stuck, waits = (
            TODAY + timedelta(days=chance.randint(-30, 15)) if chance.random() < share else None
            for share in (0.2, 0.3)
        )
        row = state_row(one, AttentionDays(stuck, waits), FAR + number, kept)
        rows.append((ORGANISATION, f"ep-other-{number}", *row))
    database = service.log.store.database
    with database.writing() as cursor:
        database.insert(cursor, episodes, rows)


def the_list(table: DueTable, rounds: int) -> None:
    """Pages of the list of a day."""
    every = DueFilter(ORGANISATION, TODAY)
    in_all = table.counts(every)["all"]
    print(f"\nDue list of {in_all:,} episodes, pages of {PAGE}; p50 of {rounds}:")
    middle = mark_of(table.find(every, None, in_all // 2)[-1])
    last = mark_of(table.find(every, None, in_all - PAGE)[-1])
    shown: Mapping[str, Callable[[], object]] = {
        "first page, with counts": lambda: due_page(table, every, None, PAGE),
        "first page, without": lambda: table.find(every, None, PAGE + 1),
        "counts": lambda: table.counts(every),
        "page in the middle": lambda: due_page(table, every, middle, PAGE),
        "last page": lambda: due_page(table, every, last, PAGE),
    }
    filters: Mapping[str, dict[str, Any]] = {
        "one calendar in a thousand": {"calendars": ("northern-ireland",)},
        "none at all": {"calendars": ("wales",)},
        "due today, at strong": {"statuses": ("due",), "tiers": ("strong",)},
        "assessment overdue": {"statuses": ("assessment_overdue",)},
    }
    for name, chosen in filters.items():
        wanted = replace(every, **chosen)
        found = table.counts(wanted)["all"]
        shown = {
            **shown,
            f"{name} ({found:,}), with counts": partial(due_page, table, wanted, None, PAGE),
        }
    for name, ask in shown.items():
        print(f"  {milliseconds([timed(ask) for _ in range(rounds)])}  {name}")


def decisions(service: Service, rounds: int, beside: str) -> None:
    """First contacts and follow-ups, in turns, durable."""
    run = next(_NUMBERS) + 1
    first, following = [], []
    for number in range(rounds):
        reference = f"ep-{run}-{number}"
        first.append(timed(partial(decide, service, first_request(reference))))
        following.append(timed(partial(decide, service, next_request(reference, 2))))
    ratio = statistics.median(following) / statistics.median(first)
    print(f"\nDecisions beside {beside}; p50 of {rounds}:")
    print(f"  {milliseconds(first)}  first contact")
    print(f"  {milliseconds(following)}  follow-up, {ratio:.2f} times as long")


def long_episode(service: Service, state: EpisodeState, contacts: int, rounds: int) -> None:
    """Follow-ups in an episode of many contacts, and contacts that arrive late there."""
    name = "ep-long"
    decide(service, first_request(name))
    [begun] = service.episodes.table.parts(ORGANISATION, name)
    at = begun.part.at
    rows = []
    for number in range(contacts):
        at += timedelta(minutes=1)
        part = replace(begun.part, id=f"00000000-0000-4000-8000-{number:012}", at=at)
        data = packed(written(part))
        rows.append((FAR + number, part.id, ORGANISATION, name, microseconds(at), "contact", None, data))
    found = service.episodes.table.find(ORGANISATION, name)
    if found is None:
        raise SystemExit("the long episode is not there")
    long = replace(found.state, contacts=contacts + 1, last_at=at)
    days = service.episodes.attention.days(long)
    database = service.log.store.database
    with database.writing() as cursor:
        database.insert(cursor, episode_parts, rows)
        cursor.execute("DELETE FROM episodes WHERE reference = 'ep-long'")
        row = state_row(long, days, FAR + contacts - 1, packed(written(long)))
        database.insert(cursor, episodes, [(ORGANISATION, name, *row)])
    first, following = [], []
    for number in range(rounds):
        other = f"ep-beside-{number}"
        decide(service, first_request(other))
        first.append(timed(partial(decide, service, next_request(other, 10))))
        following.append(timed(partial(decide, service, next_request(name, 10, number))))
    late = [timed(partial(decide, service, next_request(name, 9, number))) for number in range(3)]
    ratio = statistics.median(following) / statistics.median(first)
    print(f"\nIn an episode of {contacts:,} contacts; p50 of {rounds}, in turns:")
    print(f"  {milliseconds(first)}  second contact of another episode")
    print(f"  {milliseconds(following)}  next contact, {ratio:.2f} times as long")
    print(f"  {milliseconds(late)}  contact that arrives late, all read again (3)")


def first_request(reference: str) -> dict[str, Any]:
    """The invented first contact, of an episode."""
    request: dict[str, Any] = json.loads((CHECKOUT / "demo_data" / "first_contact.json").read_bytes())
    request |= {"episode": reference, "assessed_at": BEGIN.isoformat()}
    request["limbs"]["left"]["first_contact_on"] = BEGIN.date().isoformat()
    return request


def next_request(reference: str, days: int, minutes: int = 0) -> dict[str, Any]:
    """A later contact, that answers only what must be asked again."""
    request = first_request(reference)
    request["assessed_at"] = (BEGIN + timedelta(days=days, minutes=minutes)).isoformat()
    for name in KEPT_OF_PERSON:
        del request["person"][name]
    leg = request["limbs"]["left"]
    dropped = (*KEPT_OF_LEG, "first_contact_on", "current_tier", "start_girth_series_cm", "abpi_availability")
    for name in dropped:
        del leg[name]
    leg |= {"tolerance": "good", "progress": "better"}
    return request


def decide(service: Service, request: dict[str, Any]) -> None:
    """A durable decision."""
    service.clock.now = BEGIN + timedelta(days=60)
    service.decide(request, CALLER, f"key-{next(_NUMBERS)}")


def timed(act: Callable[[], object]) -> float:
    """Seconds that something took."""
    begin = time.perf_counter()
    act()
    return time.perf_counter() - begin


def milliseconds(times: list[float]) -> str:
    """The median and the greatest."""
    return f"{1000 * statistics.median(times):8.2f} ms (most {1000 * max(times):7.1f})"


if __name__ == "__main__":
    main()
