"""Decides a file of assessments: one, or one a line. Good lines are answered, bad ones named by number."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TextIO

import orjson

from limbtier.foundation.errors import LimbtierError
from limbtier.foundation.strict_json import NotJson, read_json
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.decision_text import decision_text

SECONDS_BETWEEN_PROGRESS = 1.0


def decide_file(decider: Decider, file: Path, *, as_json: bool) -> int:
    """Decide what the file holds and print the answers; problems and progress go to standard error.

    Returns 0 when every assessment was answered, 1 when some were not. Raises OSError when the file
    cannot be read, and LimbtierError when it holds a single assessment that cannot be answered.
    """
    out, err = sys.stdout, sys.stderr
    data = sys.stdin.buffer.read() if str(file) == "-" else file.read_bytes()
    if _is_one(data):
        record = decider.preview(data)
        out.write(_one_line(record) if as_json else decision_text(orjson.loads(record)))
        return 0
    return _decide_lines(decider, data, as_json, out, err)


def _is_one(data: bytes) -> bool:
    """Whether the bytes are one JSON value, rather than one a line."""
    if data.count(b"\n", 0, len(data.rstrip())) == 0:
        return True
    try:
        read_json(data)
    except NotJson as error:
        # A value with faults inside, such as a duplicate key, still is one value.
        return not any("stops being JSON" in item.message for item in error.diagnostics)
    return True


def _decide_lines(decider: Decider, data: bytes, as_json: bool, out: TextIO, err: TextIO) -> int:
    lines = [(number, line) for number, line in enumerate(data.splitlines(), start=1) if line.strip()]
    bad = 0
    shown = time.monotonic()
    for done, (number, line) in enumerate(lines, start=1):
        try:
            record = decider.preview(line)
        except LimbtierError as error:
            bad += 1
            err.write(f"line {number}: not answered\n")
            err.writelines(f"  {item}\n" for item in error.diagnostics)
        else:
            out.write(_one_line(record) if as_json else "".join(_rows(number, orjson.loads(record))))
        if time.monotonic() - shown >= SECONDS_BETWEEN_PROGRESS:
            shown = time.monotonic()
            err.write(f"{done} of {len(lines)} lines, {bad} not answered\n")
            err.flush()
    err.write(f"{len(lines)} lines: {len(lines) - bad} answered, {bad} not answered\n")
    return 1 if bad else 0


def _one_line(record: bytes) -> str:
    """The record on a line of its own: the request inside may have had lines, which mean nothing in JSON."""
    return record.replace(b"\r", b" ").replace(b"\n", b" ").decode() + "\n"


def _rows(number: int, record: dict[str, Any]) -> Iterator[str]:
    """A line for each leg: what a list of many has room for."""
    for side, limb in record["limbs"].items():
        open_questions = f", {len(limb['questions'])} questions open" if limb["questions"] else ""
        yield (
            f"line {number}: {side} leg: {limb['disposition'].replace('_', ' ')}, {limb['tier']} "
            f"(target {limb['target_tier']}), review by {limb['review']['due_on']}{open_questions}\n"
        )
