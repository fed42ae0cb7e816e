"""The process in which one task on editions runs, beside the service: `python -m` this module.

It reads what to do from its input and writes lines of JSON: how far it has come, and last what came of it. It
gives way to whatever decides (a higher nice value), and ends when the service that started it ends.
"""

from __future__ import annotations

import os
import pickle
import sys
import threading
import time
from typing import Any, BinaryIO, Final

import orjson

from limbtier.foundation.errors import LimbtierError
from limbtier.use_cases.governance_tasks import EditionsAtHand, GovernanceTask

SECONDS_BETWEEN_LINES: Final = 1.0
_NICE: Final = 5


def main() -> None:
    """Run the task that stands at the input."""
    os.nice(_NICE)
    out = os.fdopen(os.dup(1), "wb", buffering=0)
    os.dup2(2, 1)  # whatever else prints must not stand among the lines
    # Only the service that started this process can write to its input.
    task, at_hand = pickle.load(sys.stdin.buffer)  # noqa: S301
    threading.Thread(target=_end_with_the_service, daemon=True).start()
    _write(out, run(task, at_hand, out))


def run(task: GovernanceTask, at_hand: EditionsAtHand, out: BinaryIO) -> dict[str, Any]:
    """The last line: the outcome, or why it is refused."""
    last = time.monotonic()

    def told(counted: int, total: int | None) -> None:
        nonlocal last
        if time.monotonic() - last >= SECONDS_BETWEEN_LINES:
            last = time.monotonic()
            _write(out, {"counted": counted, "total": total})

    try:
        return {"outcome": task.run(at_hand, told)}
    except LimbtierError as error:
        found = [{"code": one.code, "message": one.message, "help": one.help} for one in error.diagnostics]
        return {"refused": error.code, "found": found}


def _write(out: BinaryIO, line: dict[str, Any]) -> None:
    out.write(orjson.dumps(line, option=orjson.OPT_APPEND_NEWLINE))


def _end_with_the_service() -> None:
    """The service keeps our input open as long as it lives."""
    sys.stdin.buffer.read()
    os._exit(1)


if __name__ == "__main__":
    main()
