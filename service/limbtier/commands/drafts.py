"""The commands `draft ...` and `retire`: how two people release an edition."""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from limbtier.commands.parts import day, settings

if TYPE_CHECKING:
    from limbtier.domain.caller import Caller
    from limbtier.domain.draft import Draft
    from limbtier.use_cases.release_edition import Releases

KEY = "LIMBTIER_KEY"
_EDIT, _APPROVE, _AUDIT = "edit", "approve", "audit"


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add them."""
    draft = commands.add_parser(
        "draft",
        help="save, check, prove, approve and release an edition, as the holder of the key in LIMBTIER_KEY",
        description="The way of an edition to its release. Each command acts for the holder of the key in "
        "the environment variable LIMBTIER_KEY: whoever saved a draft cannot approve it. Every step is an "
        "entry of the log. A running service takes a release up within 2 seconds.",
    )
    steps = draft.add_subparsers(required=True, metavar="STEP")

    put = _step(steps, "put", "save a folder SET/VERSION as a draft", _put, reason=True)
    put.add_argument("folder", type=Path, metavar="FOLDER", help="the folder of the edition")
    put.add_argument("--over", type=int, metavar="N", help="the revision of the draft that this changes")

    copy = _step(
        steps, "copy", "make a draft from an edition, to go on from it or back to it", _copy, reason=True
    )
    copy.add_argument("source", metavar="ID", help="the id of an edition or of a draft")
    copy.add_argument("version", metavar="VERSION", help="the version of the new draft")
    copy.add_argument("--from", dest="first", type=day, metavar="DATE", help="the first day it decides on")

    _step(steps, "list", "list the drafts of your organisation", _list)
    show = _step(steps, "show", "show a draft, and what its check and proof came to", _show)
    show.add_argument("id", metavar="ID", help="the id of the edition")
    show.add_argument("--to", type=Path, metavar="FOLDER", help="write its files to a new folder, too")

    for name, words, run in (
        ("check", "load a draft, run its worked cases and every check", _check),
        ("prove", "prove a checked draft for every assessment", _prove),
    ):
        _step(steps, name, words, run).add_argument("id", metavar="ID", help="the id of the edition")
    for name, words, run in (
        ("approve", "approve a proved draft that somebody else saved", _approve),
        ("release", "release an approved draft", _release),
        ("discard", "discard a draft", _discard),
    ):
        step = _step(steps, name, words, run, reason=True)
        step.add_argument("id", metavar="ID", help="the id of the edition")
        step.add_argument(
            "--revision", type=int, required=True, metavar="N", help="the revision you looked at"
        )

    retire = commands.add_parser("retire", help="retire a released edition: it decides nothing new")
    retire.add_argument("id", metavar="ID", help="the id of the edition")
    retire.add_argument("--reason", required=True, metavar="TEXT", help="why, for the log")
    retire.set_defaults(run=_retire)


def _step(
    steps: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    words: str,
    run: Callable[[argparse.Namespace], int],
    *,
    reason: bool = False,
) -> argparse.ArgumentParser:
    step = steps.add_parser(name, help=words)
    if reason:
        step.add_argument("--reason", metavar="TEXT", help="why, for the log; name no people")
    step.set_defaults(run=run)
    return step


def _as_holder(act: str, scopes: tuple[str, ...], work: Callable[[Releases, Caller], Draft]) -> Draft:
    from limbtier.use_cases.release_command import acting, draft_text

    with acting(settings(), os.environ.get(KEY), f"limbtier {act}", *scopes) as (releases, caller):
        draft = work(releases, caller)
    print("\n".join(draft_text(draft)))
    return draft


def _put(options: argparse.Namespace) -> int:
    from limbtier.use_cases.release_command import etag_of, files_in
    from limbtier.use_cases.release_files import read_reason

    edition, files = files_in(options.folder)
    reason = read_reason(options.reason)

    def work(releases: Releases, caller: Caller) -> Draft:
        etag = None if options.over is None else etag_of(releases, caller, edition, options.over)
        return releases.save(caller, edition, files, etag, reason)

    _as_holder("draft put", (_EDIT,), work)
    return 0


def _copy(options: argparse.Namespace) -> int:
    from limbtier.use_cases.release_files import read_reason

    first = None if options.first is None else options.first.isoformat()
    reason = read_reason(options.reason)

    def work(releases: Releases, caller: Caller) -> Draft:
        return releases.copy(caller, options.source, options.version, first, reason)

    _as_holder("draft copy", (_EDIT,), work)
    return 0


def _list(_options: argparse.Namespace) -> int:
    from limbtier.use_cases.release_command import acting

    readers = (_EDIT, _APPROVE, _AUDIT)
    with acting(settings(), os.environ.get(KEY), "limbtier draft list", *readers) as (releases, caller):
        found = releases.all(caller)
    for one in found:
        print(f"{one.edition}  {one.state}  revision {one.revision}  {one.saved_at:%Y-%m-%d %H:%M} UTC")
    if not found:
        print("Your organisation has no draft.")
    return 0


def _show(options: argparse.Namespace) -> int:
    from limbtier.use_cases.release_command import write_files

    def work(releases: Releases, caller: Caller) -> Draft:
        draft, files = releases.find(caller, options.id)
        if options.to is not None:
            write_files(files, options.to)
        return draft

    _as_holder("draft show", (_EDIT, _APPROVE, _AUDIT), work)
    if options.to is not None:
        print(f"wrote {options.to}")
    return 0


def _check(options: argparse.Namespace) -> int:
    draft = _as_holder(
        "draft check", (_EDIT, _APPROVE), lambda releases, caller: releases.check(caller, options.id)
    )
    return 0 if draft.state == "checked" else 1


def _prove(options: argparse.Namespace) -> int:
    draft = _as_holder(
        "draft prove", (_EDIT, _APPROVE), lambda releases, caller: releases.prove(caller, options.id)
    )
    return 0 if draft.state == "proved" else 1


def _approve(options: argparse.Namespace) -> int:
    return _seen(options, "approve", _APPROVE)


def _release(options: argparse.Namespace) -> int:
    return _seen(options, "release", _APPROVE)


def _discard(options: argparse.Namespace) -> int:
    return _seen(options, "discard", _EDIT)


def _seen(options: argparse.Namespace, step: str, scope: str) -> int:
    """A step of a draft as it was looked at."""
    from limbtier.use_cases.release_command import etag_of
    from limbtier.use_cases.release_files import read_reason

    reason = read_reason(options.reason)

    def work(releases: Releases, caller: Caller) -> Draft:
        etag = etag_of(releases, caller, options.id, options.revision)
        take = {"approve": releases.approve, "release": releases.release, "discard": releases.discard}[step]
        return take(caller, options.id, etag, reason)

    _as_holder(f"draft {step}", (scope,), work)
    return 0


def _retire(options: argparse.Namespace) -> int:
    from limbtier.use_cases.release_command import acting
    from limbtier.use_cases.release_files import read_reason

    reason = read_reason(options.reason, required=True)
    with acting(settings(), os.environ.get(KEY), "limbtier retire", _APPROVE) as (releases, caller):
        releases.retire(caller, options.id, reason)
    print(f"{options.id} is retired. It decides nothing new; what it decided can still be made again.")
    return 0
