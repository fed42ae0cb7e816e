"""Builds the HTTP application from its parts. Nothing is global: what it needs is passed in."""

from __future__ import annotations

import gc
import os
from collections.abc import AsyncIterator, Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager

from fastapi import FastAPI

from limbtier import __version__
from limbtier.api.bearer import Access, access_log
from limbtier.api.decision_resources import add_decision_resources
from limbtier.api.documentation_resources import add_documentation_resources
from limbtier.api.edition_resources import add_edition_resources
from limbtier.api.health_resources import add_health_resources
from limbtier.api.middleware import Surroundings
from limbtier.api.openapi import TITLE, Description
from limbtier.api.problem_responses import add_problem_handlers
from limbtier.domain.caller import Caller
from limbtier.foundation.clock import Clock, now
from limbtier.foundation.settings import Settings, read_settings
from limbtier.interop.bearer_tokens import TokenReader
from limbtier.store.decisions import DecisionStore
from limbtier.store.keys import KeyTable
from limbtier.store.opening import IN_MEMORY, open_database
from limbtier.use_cases.authorise import Authoriser
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.ready_rules import ready_rules


def create_app(
    decider: Decider,
    store: DecisionStore,
    authoriser: Authoriser,
    settings: Settings,
    clock: Clock = now,
    close: Callable[[], None] | None = None,
) -> FastAPI:
    """The application. `decider` stores into `store`, which is closed with the application; its rules may be
    swapped, as one whole, while requests run. `authoriser` knows the callers. `clock` says which edition is
    in force today; `close` is called with the end of the application."""
    writer = ThreadPoolExecutor(max_workers=1, thread_name_prefix="limbtier-writer")

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        yield
        writer.shutdown()
        store.close()
        if close is not None:
            close()

    app = FastAPI(
        title=TITLE,
        version=__version__,
        lifespan=lifespan,
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
    )
    description = Description(app, decider, clock)
    app.openapi = description.document  # type: ignore[method-assign]
    app.add_middleware(Surroundings)
    add_problem_handlers(app)

    async def refused(caller: Caller, act: str, needed: str) -> None:
        access_log.warning("403 %s: %s has no scope of %s", act, caller.id, needed)

    access = Access(authoriser, refused)
    add_decision_resources(app, decider, store, writer, access, settings.most_body_bytes)
    add_edition_resources(app, decider, access, clock)
    add_health_resources(app, decider, store, writer, clock)
    add_documentation_resources(app, description.text)
    return app


def from_settings(settings: Settings) -> FastAPI:
    """The application of a deployment. Raises InvalidRuleFiles, InvalidSettings or StoreUnavailable."""
    rules = ready_rules(settings.rules, settings.rule_set)
    tokens = None if settings.tokens is None else TokenReader(settings.tokens)
    database = open_database(settings.database)
    authoriser = Authoriser(KeyTable(database), tokens)
    name = settings.database.name
    store = DecisionStore(settings.database.with_name(name if name == IN_MEMORY else f"{name}.decisions"))
    app = create_app(Decider(rules), store, authoriser, settings, close=database.close)
    # What was loaded stays for the life of the process: the garbage collector need not walk it again.
    gc.collect()
    gc.freeze()
    return app


def from_environment() -> FastAPI:
    """For a server that starts an application by name: `uvicorn limbtier.app:from_environment --factory`.

    Raises also InvalidSettings.
    """
    return from_settings(read_settings(os.environ))
