"""Where the log of the process goes, and in which form."""

from __future__ import annotations

import json
import logging
import os
from datetime import UTC, datetime

from limbtier.foundation.settings import LOG_FORMAT


def log_to_stderr() -> None:
    """Write what operators must see, refused tokens and alarms among it, with its moment; as JSON, one
    object a line, where the environment asks for it."""
    logging.basicConfig(format="%(asctime)s %(levelname)s %(name)s %(message)s")
    logging.getLogger("limbtier").setLevel(logging.INFO)
    if os.environ.get(LOG_FORMAT) == "json":
        for handler in logging.getLogger().handlers:
            handler.setFormatter(JsonLines())


class JsonLines(logging.Formatter):
    """One record as one JSON object on one line: `at`, `level`, `logger`, `message`, and `error` with the
    traceback where there is one."""

    def format(self, record: logging.LogRecord) -> str:
        """The line, without its end."""
        line = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": record.getMessage(),
        }
        if record.exc_info:
            line["error"] = self.formatException(record.exc_info)
        return json.dumps(line)
