"""The command line: decide assessments, check rule files, serve the API, keep keys, show a first decision."""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from limbtier.foundation.errors import LimbtierError
from limbtier.foundation.settings import CHECKOUT, Settings, read_settings
from limbtier.use_cases.keep_log_arguments import add_log_commands
from limbtier.use_cases.prove_arguments import add_prove_command

if TYPE_CHECKING:
    from limbtier.use_cases.manage_keys import KeyManager

DEMO_ORGANISATION = "quillerbeck"  # invented, as everything in demo_data
UNUSABLE = 2
WITH_PROBLEMS = 1


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command. Exit code 0 is good, 1 says some input had problems, 2 that nothing could be done."""
    options = _parser().parse_args(arguments)
    try:
        return int(options.run(options))
    except LimbtierError as error:
        print(error, file=sys.stderr)
        return UNUSABLE
    except (OSError, UnicodeDecodeError) as error:
        print(f"limbtier: {error}", file=sys.stderr)
        return UNUSABLE
    except KeyboardInterrupt:
        print("limbtier: stopped", file=sys.stderr)
        return UNUSABLE


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="limbtier",
        description="Starting tiers of compression and review dates, decided by versioned rule files. "
        "Supports a decision; local policy and a licensed clinician decide.",
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    decide = commands.add_parser(
        "decide", help="decide one assessment, or a JSON-lines file of many; stores nothing"
    )
    decide.add_argument(
        "file", type=Path, metavar="FILE", help="a JSON file, a JSON-lines file, or - for standard input"
    )
    decide.add_argument("--json", action="store_true", help="print the records as JSON, a line each")
    decide.set_defaults(run=_decide)

    _check_arguments(commands.add_parser("check", help="check rule files and run their worked cases"))

    new = commands.add_parser("new-edition", help="begin a local edition: files that say how to go on")
    new.add_argument("set", metavar="SET", help="the name of its rule set, one word")
    new.add_argument("version", metavar="VERSION", help="its version, such as 2026.1.0")
    new.add_argument("--based-on", required=True, metavar="ID", help="an edition, such as core-2026.1.0")
    new.set_defaults(run=_new_edition)

    render = commands.add_parser("render", help="write a whole edition out for reading")
    render.add_argument("id", metavar="ID", help="an edition, such as core-2026.1.0")
    render.add_argument(
        "--html", type=Path, metavar="FILE", help="write one HTML page that needs nothing else"
    )
    render.add_argument(
        "--markdown", type=Path, metavar="FILE", help="write Markdown; printed if neither file is named"
    )
    render.set_defaults(run=_render)

    serve = commands.add_parser("serve", help="serve the API on this machine")
    _address(serve)
    serve.add_argument(
        "--workers", type=int, default=1, metavar="N", help="processes that share the address and the log"
    )
    serve.set_defaults(run=_serve)

    _key_commands(commands.add_parser("keys", help="add, list and revoke the keys of callers"))

    verify = commands.add_parser("verify", help="verify an exported log from its files alone")
    verify.add_argument("export", type=Path, metavar="EXPORT", help="the folder of the export")
    verify.add_argument(
        "--checkpoint",
        type=Path,
        metavar="FILE",
        required=True,
        help="a checkpoint that you got from the service earlier and kept elsewhere",
    )
    verify.add_argument(
        "--key",
        action="append",
        default=[],
        metavar="VKEY",
        help="a verifier key of the log that you have from elsewhere; may be given again",
    )
    verify.set_defaults(run=_verify)

    add_log_commands(commands, _keep_log)

    demo = commands.add_parser("demo", help="show a first decision on invented data, then serve the API")
    _address(demo)
    demo.set_defaults(workers=1)
    demo.add_argument("--once", action="store_true", help="show the decision and stop, without serving")
    demo.set_defaults(run=_demo)

    openapi = commands.add_parser("openapi", help="write the description of the API and of its problems")
    openapi.add_argument("folder", type=Path, metavar="FOLDER", nargs="?", default=CHECKOUT / "openapi")
    openapi.set_defaults(run=_openapi)

    schemas = commands.add_parser("schemas", help="write the schemas with which editors check rule files")
    schemas.add_argument(
        "folder", type=Path, metavar="FOLDER", nargs="?", default=CHECKOUT / "rules" / "schemas"
    )
    schemas.set_defaults(run=_schemas)

    add_prove_command(commands)
    _comparing_commands(commands)

    checks = commands.add_parser("checks", help="write the page on the checks of rule files")
    checks.add_argument(
        "file", type=Path, metavar="FILE", nargs="?", default=CHECKOUT / "rules" / "CHECKS.md"
    )
    checks.set_defaults(run=_checks)
    return parser


def _key_commands(keys: argparse.ArgumentParser) -> None:
    commands = keys.add_subparsers(required=True, metavar="COMMAND")
    add = commands.add_parser("add", help="make a key and print it, this once")
    add.add_argument("--role", required=True, help="integrator, editor, approver or auditor")
    add.add_argument(
        "--organisation", required=True, metavar="NAME", help="whose decisions it makes and reads"
    )
    add.set_defaults(run=_add_key)
    commands.add_parser("list", help="show all keys, without their secrets").set_defaults(run=_list_keys)
    revoke = commands.add_parser("revoke", help="take a key out of use for good")
    revoke.add_argument("id", metavar="ID", help="the id of the key, as `limbtier keys list` shows it")
    revoke.set_defaults(run=_revoke_key)


def _comparing_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    compare = commands.add_parser("compare", help="compare two editions part by part, in words")
    compare.add_argument("old", metavar="OLD", help="the id of an edition")
    compare.add_argument("new", metavar="NEW", help="the id of the other")
    compare.add_argument(
        "--behaviour", action="store_true", help="also find every assessment that the two decide differently"
    )
    _forms(compare, "json", "markdown", "html")
    compare.set_defaults(run=_compare)

    impact = commands.add_parser("impact", help="decide past assessments by another edition, and count")
    impact.add_argument("edition", metavar="EDITION", help="the id of the edition")
    past = impact.add_mutually_exclusive_group(required=True)
    past.add_argument("--on", type=Path, metavar="FILE", help="assessments or decision records, one a line")
    past.add_argument("--organisation", metavar="NAME", help="decisions of this organisation in the log")
    impact.add_argument("--from", dest="first", type=_day, metavar="DATE", help="the first day, in the log")
    impact.add_argument("--before", type=_day, metavar="DATE", help="the first day no longer, in the log")
    impact.add_argument(
        "--against", metavar="EDITION", help="compare with this edition (default: as decided)"
    )
    for form in ("json", "csv", "svg"):
        impact.add_argument(f"--{form}", type=Path, metavar="FILE", help=f"write a file as {form.upper()}")
    impact.set_defaults(run=_impact)

    hazards = commands.add_parser("hazards", help="show the hazard log, beside an edition")
    hazards.add_argument("--edition", metavar="ID", help="the id of the edition (default: the active one)")
    _forms(hazards, "markdown", "html")
    hazards.set_defaults(run=_hazards)


def _forms(command: argparse.ArgumentParser, *forms: str) -> None:
    shown = command.add_mutually_exclusive_group()
    for form in forms:
        shown.add_argument(f"--{form}", dest="form", action="store_const", const=form, help=f"print {form}")
    command.set_defaults(form="text")


def _check_arguments(check: argparse.ArgumentParser) -> None:
    what = "the rules folder, or the folder of one edition (default: the rules folder of the service)"
    check.add_argument("path", type=Path, metavar="PATH", nargs="?", help=what)
    check.add_argument("--explain", metavar="ID", help="explain one check, and check nothing")
    check.add_argument("--strict", action="store_true", help="let warnings fail the check too")
    quick = "leave out the checks that ask about every assessment"
    check.add_argument("--quick", action="store_true", help=quick)
    check.add_argument("--json", action="store_true", help="print the findings as JSON")
    check.add_argument("--on", type=_day, metavar="DATE", help="judge dates as on this day (default: today)")
    listing = "list the cases of a base that come out differently, to be read and put under `replace`"
    check.add_argument("--list-differing", action="store_true", help=listing)
    check.set_defaults(run=_check)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError("write a day as 2026-01-31") from error


def _address(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--host", default="127.0.0.1", help="address to listen on (default: this machine only)"
    )
    command.add_argument("--port", type=int, default=8470, help="port to listen on (default: 8470)")


def _settings() -> Settings:
    return read_settings(os.environ)


def _decide(options: argparse.Namespace) -> int:
    from limbtier.use_cases.decide import Decider
    from limbtier.use_cases.decide_many import decide_file
    from limbtier.use_cases.ready_rules import ready_rules

    settings = _settings()
    decider = Decider(ready_rules(settings.rules, settings.rule_set))
    return decide_file(decider, options.file, as_json=options.json)


def _check(options: argparse.Namespace) -> int:
    from limbtier.use_cases.check_rules import CheckOptions, check_rules

    if options.explain is not None:
        from limbtier.use_cases.explain_checks import explain_check

        print(explain_check(options.explain), end="")
        return 0
    prover_for = None
    if not options.quick:
        from limbtier.governance.checks.prover import SolverProver

        prover_for = SolverProver
    wanted = CheckOptions(options.on, prover_for, options.strict, options.json, options.list_differing)
    return check_rules(options.path or _settings().rules, sys.stdout, wanted)


def _new_edition(options: argparse.Namespace) -> int:
    from limbtier.domain.assessment import day_of
    from limbtier.foundation.clock import now
    from limbtier.use_cases.edition_documents import begin_edition

    rules = _settings().rules
    folder = begin_edition(rules, options.set, options.version, options.based_on, day_of(now()))
    print(f"wrote {folder}\nRead its edition.yaml first. After every change: limbtier check {folder}")
    return 0


def _render(options: argparse.Namespace) -> int:
    from limbtier.use_cases.edition_documents import edition_in_full

    edition = edition_in_full(_settings().rules, options.id)
    for file, text in ((options.html, edition.html), (options.markdown, edition.markdown)):
        if file is not None:
            file.write_text(text(), encoding="utf-8", newline="\n")
            print(f"wrote {file}")
    if options.html is None and options.markdown is None:
        print(edition.markdown(), end="")
    return 0


def _serve(options: argparse.Namespace) -> int:
    import uvicorn

    from limbtier.api.http_protocol import ProblemProtocol
    from limbtier.app import from_settings, log_to_stderr

    log_to_stderr()
    settings = _settings()  # refused here at once, not in each worker
    several = options.workers > 1
    uvicorn.run(
        "limbtier.app:from_environment" if several else from_settings(settings),
        factory=several,
        workers=options.workers if several else None,
        host=options.host,
        port=options.port,
        http=ProblemProtocol,
        log_level="warning",
        server_header=False,
    )
    return 0


@contextmanager
def _key_manager() -> Iterator[KeyManager]:
    from limbtier.store.keys import KeyTable
    from limbtier.use_cases.manage_keys import KeyManager
    from limbtier.use_cases.open_log import open_log

    database, log = open_log(_settings())
    try:
        yield KeyManager(KeyTable(database), log.append)
    finally:
        log.close()


def _add_key(options: argparse.Namespace) -> int:
    with _key_manager() as manager:
        key, text = manager.add(options.role, options.organisation)
    print(text)
    print(
        f"The key of a new {key.role} of {key.organisation}. It may {' and '.join(sorted(key.scopes))}.\n"
        "It is shown this once and kept nowhere: only a digest of it is. Whoever has it can act as its\n"
        "holder, so hand it over like a password, and revoke it when it may be known to anybody else:\n"
        f"  limbtier keys revoke {key.id}",
        file=sys.stderr,
    )
    return 0


def _list_keys(_options: argparse.Namespace) -> int:
    rows = [("id", "organisation", "role", "may", "added", "revoked")]
    with _key_manager() as manager:
        keys = manager.all()
    for key in keys:
        revoked = "" if key.revoked_at is None else f"{key.revoked_at:%Y-%m-%d}"
        scopes = " ".join(sorted(key.scopes))
        rows.append((key.id, key.organisation, key.role, scopes, f"{key.added_at:%Y-%m-%d}", revoked))
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        print("  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip())
    return 0


def _revoke_key(options: argparse.Namespace) -> int:
    with _key_manager() as manager:
        key = manager.revoke(options.id)
    print(f"Revoked {key.id}, {key.role} of {key.organisation}. A running service refuses it within seconds.")
    return 0


def _verify(options: argparse.Namespace) -> int:
    from limbtier.use_cases.verify_log import verify_log

    return verify_log(options.export, options.checkpoint, options.key, sys.stdout, sys.stderr)


def _keep_log(options: argparse.Namespace) -> int:
    from limbtier.use_cases.keep_log import keep_log

    return keep_log(options, _settings(), sys.stdout)


def _demo(options: argparse.Namespace) -> int:
    import orjson

    from limbtier.use_cases.decide import Decider
    from limbtier.use_cases.decision_text import decision_text
    from limbtier.use_cases.ready_rules import ready_rules

    file = CHECKOUT / "demo_data" / "first_contact.json"
    settings = _settings()
    decider = Decider(ready_rules(settings.rules, settings.rule_set))
    print(f"An invented assessment, {file.relative_to(CHECKOUT)}, decided by the core edition:\n")
    print(decision_text(orjson.loads(decider.preview(file.read_bytes()))))
    if options.once:
        return 0
    with _key_manager() as manager:
        keys = manager.renew(DEMO_ORGANISATION)
    print(f"Keys for callers of the invented organisation {DEMO_ORGANISATION}, shown this once; those of an")
    print("earlier demo are revoked. Who knows a key can act as its holder.\n")
    for role, text in keys.items():
        print(f"  {role:10}  {text}")
    address = f"http://{options.host}:{options.port}"
    print("\nAsk the running service the same, from another terminal in this folder:\n")
    print(f"  export LIMBTIER_KEY={keys['integrator']}")
    print(f"  curl -s -X POST {address}/v1/decisions \\")
    print('    -H "Authorization: Bearer $LIMBTIER_KEY" \\')
    print("    -H 'Content-Type: application/json' --data @demo_data/first_contact.json\n")
    print(f"The API is described at {address}/docs. Serving until you press Ctrl-C.", flush=True)
    return _serve(options)


def _openapi(options: argparse.Namespace) -> int:
    from limbtier.api.openapi import write_openapi
    from limbtier.app import from_settings

    with tempfile.TemporaryDirectory() as keys:
        settings = replace(_settings(), database=":memory:", log_keys=Path(keys) / "keys")
        write_openapi(from_settings(settings), options.folder / "openapi.json")
    print(f"wrote {options.folder}")
    return 0


def _compare(options: argparse.Namespace) -> int:
    from limbtier.use_cases.compare_editions import compare, show
    from limbtier.use_cases.ready_rules import ready_rules

    compared = compare(
        ready_rules(_settings().rules),
        options.old,
        options.new,
        behaviour=options.behaviour,
        progress=lambda one: print(f"found: {one.change} ({one.direction})", file=sys.stderr),
    )
    print(show(compared, options.form), end="")
    return 0


def _impact(options: argparse.Namespace) -> int:
    from limbtier.use_cases.measure_impact import Candidate
    from limbtier.use_cases.report_impact import decisions_of_log, lines_of_file, report_impact

    settings = _settings()
    if options.on is not None:
        past = lines_of_file(options.on)
    else:
        past = decisions_of_log(settings.database, options.organisation, options.first, options.before)
    candidate = Candidate(settings.rules, options.edition, options.against, settings.rule_set)
    files = {form: file for form in ("json", "csv", "svg") if (file := getattr(options, form)) is not None}
    return report_impact(past, candidate, files, sys.stdout, sys.stderr)


def _hazards(options: argparse.Namespace) -> int:
    from limbtier.use_cases.show_hazards import show_hazards

    settings = _settings()
    tests = CHECKOUT / "tests"
    print(show_hazards(settings.rules, settings.rule_set, options.edition, tests, options.form), end="")
    return 0


def _checks(options: argparse.Namespace) -> int:
    from limbtier.use_cases.explain_checks import write_checks_page

    write_checks_page(options.file)
    print(f"wrote {options.file}")
    return 0


def _schemas(options: argparse.Namespace) -> int:
    from limbtier.rulesets.schema import write_schemas

    write_schemas(options.folder)
    print(f"wrote {options.folder}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
