"""Builds the HTTP application from its parts. Nothing is global: what it needs is passed in."""

from __future__ import annotations

import gc
import logging
import os
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING

from fastapi import FastAPI

from limbtier import __version__
from limbtier.api.bearer import Access, access_log
from limbtier.api.cds_hooks_resources import add_cds_hooks_resources
from limbtier.api.decision_resources import add_decision_resources
from limbtier.api.documentation_resources import add_documentation_resources
from limbtier.api.edition_resources import add_edition_resources
from limbtier.api.episode_resources import add_episode_resources
from limbtier.api.fhir_resources import add_fhir_resources
from limbtier.api.governance_resources import GovernanceFiles, add_governance_resources
from limbtier.api.health_resources import add_health_resources
from limbtier.api.log_resources import add_log_resources
from limbtier.api.metrics import Measured, Metrics, add_metrics_resource
from limbtier.api.middleware import Surroundings
from limbtier.api.openapi import TITLE, Description
from limbtier.api.problem_responses import add_problem_handlers
from limbtier.api.release_resources import add_release_resources
from limbtier.api.review_resources import CaseloadParts, add_review_resources
from limbtier.api.traces import Traced, tracing_to
from limbtier.audit.log import Log
from limbtier.domain.caller import Caller
from limbtier.foundation.clock import Clock, now
from limbtier.foundation.errors import StoreUnavailable
from limbtier.foundation.log_output import log_to_stderr
from limbtier.foundation.settings import CHECKOUT, Settings, read_settings
from limbtier.interop.bearer_tokens import TokenReader
from limbtier.store.drafts import DraftTable, EditionTable
from limbtier.store.due_list import DueTable
from limbtier.store.episodes import EpisodeTable
from limbtier.store.keys import KeyTable
from limbtier.store.results import ResultTable
from limbtier.use_cases.authorise import Authoriser
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.episodes import Episodes
from limbtier.use_cases.follow_up import FollowUps
from limbtier.use_cases.governance_work import GovernanceWork
from limbtier.use_cases.keep_event import EventKeeper
from limbtier.use_cases.make_decision import DecisionMaker
from limbtier.use_cases.open_log import open_log
from limbtier.use_cases.ready_pathway import ready_attention, ready_watch
from limbtier.use_cases.record_acts import act_refused
from limbtier.use_cases.record_editions import record_editions
from limbtier.use_cases.release_edition import Releases
from limbtier.use_cases.release_rules import ReleasedRules, rules_at_start

if TYPE_CHECKING:
    from opentelemetry.sdk.trace import TracerProvider

alarm = logging.getLogger("limbtier.alarm")


def create_app(
    decider: Decider,
    log: Log,
    authoriser: Authoriser,
    settings: Settings,
    clock: Clock = now,
    tracing: TracerProvider | None = None,
) -> FastAPI:
    """The application. Its decisions go into `log`, which is closed with the application; the decider's rules
    may be swapped, as one whole, while requests run. `authoriser` knows the callers. `clock` says which
    edition is in force today; `tracing` makes a span of each request, and ends with the application."""

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        released.start()
        yield
        released.stop()
        work.close()
        log.close()
        if tracing is not None:
            tracing.shutdown()

    app = FastAPI(
        title=TITLE,
        version=__version__,
        lifespan=lifespan,
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
    )
    description = Description(app, decider, clock, lambda: episodes.pathway)
    app.openapi = description.document  # type: ignore[method-assign]
    metrics = Metrics(decider, log, clock)
    app.add_middleware(Measured, metrics=metrics)
    app.add_middleware(Surroundings)
    if tracing is not None:
        app.add_middleware(Traced, provider=tracing)
    add_problem_handlers(app)

    async def refused(caller: Caller, act: str, needed: str) -> None:
        access_log.warning("403 %s: %s has no scope of %s", act, caller.id, needed)
        await log.append_soon(act_refused(caller, act, needed, clock()))

    access = Access(authoriser, refused)
    database = log.store.database
    released = ReleasedRules(decider, EditionTable(database), log.store, settings.rules)
    releases = Releases(DraftTable(database), released, log.store, log.append, clock)
    releases.governing = settings.governing_organisation
    work = GovernanceWork(ResultTable(database), clock)
    editions = [one.edition for one in decider.rules.editions.values()]
    watch = ready_watch(settings.rules, editions)
    attention, caseload_terms = ready_attention(settings.rules, watch)
    episodes = Episodes(EpisodeTable(database), watch, attention, clock)
    maker = DecisionMaker(decider, log, FollowUps(decider, episodes))
    add_decision_resources(
        app, decider, maker, access, settings.most_body_bytes, needs_key=settings.require_idempotency_key
    )
    add_episode_resources(
        app,
        decider,
        episodes,
        EventKeeper(decider, log, episodes, maker.turns),
        access,
        settings.most_body_bytes,
        needs_key=settings.require_idempotency_key,
    )
    counted = CaseloadParts(watch.pathway.kept, caseload_terms)
    add_review_resources(app, decider, DueTable(database), counted, access, clock, settings.log_origin)
    add_log_resources(app, decider, log, access, clock)
    add_edition_resources(app, decider, access, clock)
    add_governance_resources(
        app,
        decider,
        log,
        access,
        clock,
        work,
        GovernanceFiles(settings.rules, CHECKOUT / "tests", str(database.file or settings.database)),
    )
    add_fhir_resources(app, decider, maker, access, settings)
    add_release_resources(app, releases, access)
    add_cds_hooks_resources(app, decider, maker, log, access, settings, clock)
    add_health_resources(app, decider, log, clock, lambda: released.faults)
    add_metrics_resource(app, metrics)
    add_documentation_resources(app, description.text)
    return app


def from_settings(settings: Settings, clock: Clock = now) -> FastAPI:
    """The application of a deployment; `clock` as for `create_app`.

    Raises InvalidRuleFiles, InvalidSettings or StoreUnavailable.
    """
    tokens = None if settings.tokens is None else TokenReader(settings.tokens)
    tracing = None if settings.traces_to is None else tracing_to(settings.traces_to)
    database, log = open_log(settings)
    try:
        rules = rules_at_start(settings.rules, settings.rule_set, EditionTable(database), log.store)
    except BaseException:
        log.close()
        raise
    try:
        record_editions((one.edition for one in rules.editions.values()), log.store, log.append)
    except StoreUnavailable as error:
        # The service starts all the same: health says what is wrong, and what is in the log can be read.
        alarm.critical("%s: %s", error.code, error)
    app = create_app(Decider(rules), log, Authoriser(KeyTable(database), tokens), settings, clock, tracing)
    # What was loaded stays for the life of the process: the garbage collector need not walk it again.
    gc.collect()
    gc.freeze()
    return app


def from_environment() -> FastAPI:
    """For a server that starts an application by name: `uvicorn limbtier.app:from_environment --factory`.

    Raises also InvalidSettings.
    """
    log_to_stderr()
    return from_settings(read_settings(os.environ))
