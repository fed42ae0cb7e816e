"""The command line: decide assessments, check rule files, serve the API, show a first decision."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from limbtier.foundation.errors import LimbtierError
from limbtier.foundation.settings import CHECKOUT, Settings, read_settings

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

    check = commands.add_parser("check", help="check rule files and run their worked cases")
    check.add_argument(
        "path", type=Path, metavar="PATH", help="the rules folder, or the folder of one edition"
    )
    check.set_defaults(run=_check)

    serve = commands.add_parser("serve", help="serve the API on this machine")
    _address(serve)
    serve.set_defaults(run=_serve)

    demo = commands.add_parser("demo", help="show a first decision on invented data, then serve the API")
    _address(demo)
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
    return parser


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

    decider = Decider(ready_rules(_settings().rules))
    return decide_file(decider, options.file, as_json=options.json)


def _check(options: argparse.Namespace) -> int:
    from limbtier.use_cases.check_rules import check_rules

    return check_rules(options.path, sys.stdout)


def _serve(options: argparse.Namespace) -> int:
    import uvicorn

    from limbtier.api.http_protocol import ProblemProtocol
    from limbtier.app import from_settings

    uvicorn.run(
        from_settings(_settings()),
        host=options.host,
        port=options.port,
        http=ProblemProtocol,
        log_level="warning",
        server_header=False,
    )
    return 0


def _demo(options: argparse.Namespace) -> int:
    import orjson

    from limbtier.use_cases.decide import Decider
    from limbtier.use_cases.decision_text import decision_text
    from limbtier.use_cases.ready_rules import ready_rules

    file = CHECKOUT / "demo_data" / "first_contact.json"
    decider = Decider(ready_rules(_settings().rules))
    print(f"An invented assessment, {file.relative_to(CHECKOUT)}, decided by the core edition:\n")
    print(decision_text(orjson.loads(decider.preview(file.read_bytes()))))
    if options.once:
        return 0
    address = f"http://{options.host}:{options.port}"
    print("Ask the running service the same, from another terminal in this folder:\n")
    print(f"  curl -s -X POST {address}/v1/decisions \\")
    print("    -H 'Content-Type: application/json' --data @demo_data/first_contact.json\n")
    print(f"The API is described at {address}/docs. Serving until you press Ctrl-C.", flush=True)
    return _serve(options)


def _openapi(options: argparse.Namespace) -> int:
    from limbtier.api.openapi import write_openapi
    from limbtier.app import from_settings

    write_openapi(
        from_settings(replace(_settings(), database=Path(":memory:"))), options.folder / "openapi.json"
    )
    print(f"wrote {options.folder}")
    return 0


def _schemas(options: argparse.Namespace) -> int:
    from limbtier.rulesets.schema import write_schemas

    write_schemas(options.folder)
    print(f"wrote {options.folder}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
