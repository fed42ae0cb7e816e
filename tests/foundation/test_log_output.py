"""The log of the process as one JSON object a line."""

from __future__ import annotations

import json
import logging
import os
import subprocess
import sys
from datetime import datetime

from limbtier.foundation.log_output import JsonLines
from limbtier.foundation.settings import CHECKOUT

PROGRAM = """\
import logging
from limbtier.foundation.log_output import log_to_stderr
log_to_stderr()
log = logging.getLogger("limbtier.access")
log.warning("refused: %s", 'a "quoted"\\nword')
log.debug("not told")
"""


def lines(**environment: str) -> list[str]:
    """What a process tells on its way."""
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM],
        env={**os.environ, "PYTHONPATH": str(CHECKOUT / "service"), **environment},
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stderr.splitlines()


def test_each_record_is_one_object_on_one_line_where_json_is_asked_for() -> None:
    (line,) = lines(LIMBTIER_LOG_FORMAT="json")
    told = json.loads(line)
    assert datetime.fromisoformat(told.pop("at")).tzinfo is not None
    assert told == {
        "level": "WARNING",
        "logger": "limbtier.access",
        "message": 'refused: a "quoted"\nword',
    }


def test_it_is_text_otherwise() -> None:
    told = lines(LIMBTIER_LOG_FORMAT="text")
    assert "WARNING limbtier.access refused:" in told[0]


def test_an_error_is_told_with_its_traceback() -> None:
    try:
        raise ValueError("as a fault might")
    except ValueError:
        record = logging.LogRecord("limbtier", logging.ERROR, __file__, 1, "failed", (), sys.exc_info())
    told = json.loads(JsonLines().format(record))
    assert "ValueError: as a fault might" in told["error"]
