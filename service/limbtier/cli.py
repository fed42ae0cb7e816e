"""The command line: one command after another is added by its module of `commands/`."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

from limbtier.commands import (
    comparing,
    deciding,
    describing,
    drafts,
    episodes,
    feedback,
    keys,
    log,
    proving,
    reviews,
    rule_files,
    serving,
)
from limbtier.commands.parts import UNUSABLE
from limbtier.foundation.diagnostics import printable
from limbtier.foundation.errors import LimbtierError

GROUPS = (
    deciding,
    rule_files,
    proving,
    comparing,
    describing,
    drafts,
    serving,
    reviews,
    keys,
    log,
    episodes,
    feedback,
)
"""In the order in which `limbtier --help` lists their commands."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command. Exit code 0 is good, 1 says some input had problems, 2 that nothing could be done."""
    options = _parser().parse_args(arguments)
    try:
        return int(options.run(options))
    except LimbtierError as error:
        print(error, file=sys.stderr)
        return UNUSABLE
    except IsADirectoryError as error:
        print(printable(f"limbtier: `{error.filename}` is a folder; name a file in it."), file=sys.stderr)
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
    for group in GROUPS:
        group.add(commands)
    return parser


if __name__ == "__main__":
    sys.exit(main())
