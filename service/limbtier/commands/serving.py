"""The commands that serve the API and describe it: `serve`, `demo`, `openapi`."""

from __future__ import annotations

import argparse
import tempfile
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from limbtier.commands.parts import LONGEST_GOODBYE_SECONDS, address, key_manager, settings
from limbtier.commands.workers import serve_with_workers
from limbtier.foundation.log_output import log_to_stderr
from limbtier.foundation.settings import CHECKOUT

AFTER_EVERY_START = datetime(2199, 12, 31, tzinfo=UTC)
"""The file describes the edition that begins last, so that it is the same on whichever day it is written."""
DEMO_ORGANISATION = "quillerbeck"  # invented, as everything in demo_data


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add them."""
    serve = commands.add_parser("serve", help="serve the API on this machine")
    address(serve)
    serve.add_argument(
        "--workers", type=int, default=1, metavar="N", help="processes that share the address and the log"
    )
    serve.set_defaults(run=_serve)

    demo = commands.add_parser("demo", help="show a first decision on invented data, then serve the API")
    address(demo)
    demo.set_defaults(workers=1)
    demo.add_argument("--once", action="store_true", help="show the decision and stop, without serving")
    demo.set_defaults(run=_demo)

    openapi = commands.add_parser("openapi", help="write the description of the API and of its problems")
    openapi.add_argument("folder", type=Path, metavar="FOLDER", nargs="?", default=CHECKOUT / "openapi")
    openapi.set_defaults(run=_openapi)


def _serve(options: argparse.Namespace) -> int:
    log_to_stderr()
    chosen = settings()  # refused here at once, not in each worker
    if options.workers > 1:
        return serve_with_workers(options.host, options.port, options.workers)

    import uvicorn

    from limbtier.api.http_protocol import ProblemProtocol
    from limbtier.app import from_settings

    uvicorn.run(
        from_settings(chosen),
        host=options.host,
        port=options.port,
        http=ProblemProtocol,
        log_level="warning",
        server_header=False,
        timeout_graceful_shutdown=LONGEST_GOODBYE_SECONDS,
    )
    return 0


def _demo(options: argparse.Namespace) -> int:
    import orjson

    from limbtier.use_cases.decide import Decider
    from limbtier.use_cases.decision_text import decision_text
    from limbtier.use_cases.ready_rules import ready_rules

    file = CHECKOUT / "demo_data" / "first_contact.json"
    chosen = settings()
    decider = Decider(ready_rules(chosen.rules, chosen.rule_set))
    print(f"An invented assessment, {file.relative_to(CHECKOUT)}, decided by the core edition:\n")
    print(decision_text(orjson.loads(decider.preview(file.read_bytes()))))
    if options.once:
        return 0
    with key_manager() as manager:
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
        chosen = replace(settings(), database=":memory:", log_keys=Path(keys) / "keys")
        write_openapi(from_settings(chosen, lambda: AFTER_EVERY_START), options.folder / "openapi.json")
    print(f"wrote {options.folder}")
    return 0
